"""How a layer looks, apart from any file format: rules, and the signs, strokes and fills they draw."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Sign:
    """A point's sign; ``shape`` is one of ``SHAPES`` in `sld` and `qml`. Sizes in millimetres on the screen."""

    shape: str
    fill: str
    size_mm: float = 4.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line; ``dash`` in multiples of a millimetre, ``casing_mm`` the width of a dark line below it."""

    color: str
    width_mm: float
    dash: tuple[float, ...] = ()
    casing_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Fill:
    """An area; ``hatch`` is ``diagonal``, ``cross``, ``dots`` or empty for none; an empty ``fill`` is clear."""

    fill: str
    border: Stroke
    hatch: str = ""


Look = Sign | Stroke | Fill


@dataclass(frozen=True, slots=True)
class Rule:
    """What rows look like whose ``column`` is ``value``, or begins with it.

    Without column, those that no other rule fits. A row is drawn by the looks that suit its geometry.
    """

    label: str
    looks: tuple[Look, ...]
    column: str = ""
    value: str = ""
    begins: bool = False


@dataclass(frozen=True, slots=True)
class Style:
    """Style of a layer; ``label`` is the column printed beside a feature, ``remark`` one printed below it."""

    rules: tuple[Rule, ...]
    label: str = ""
    remark: str = ""
    unremarkable: str = field(default="")
    """Value of ``remark`` that is not printed."""
