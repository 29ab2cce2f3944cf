"""How a layer looks, apart from any file format: rules, and the signs, strokes and fills they draw."""

from __future__ import annotations

from dataclasses import dataclass


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
class StyleRule:
    """What rows look like whose ``column`` is ``value``.

    Without column, those that no other rule fits. A row is drawn by the looks that suit its geometry, on maps at
    1 : ``up_to`` and larger scales; 0 is at every scale.
    """

    label: str
    looks: tuple[Look, ...]
    column: str = ""
    value: str = ""
    up_to: int = 0


@dataclass(frozen=True, slots=True)
class Label:
    """Text beside a feature: ``column``, and below it ``remark`` unless that is ``unremarkable``.

    Printed on maps at 1 : ``up_to`` and larger scales, the remark at 1 : ``remark_up_to``. What is ``minor`` is left
    out where there is no room, anything else is printed over other text then.
    """

    column: str
    up_to: int
    remark: str = ""
    unremarkable: str = ""
    remark_up_to: int = 0
    minor: bool = False


@dataclass(frozen=True, slots=True)
class Style:
    """Style of a layer."""

    rules: tuple[StyleRule, ...]
    label: Label | None = None

    @property
    def named(self) -> dict[str, list[str]]:
        """Values that rules name, by column, where one of them is not drawn at every scale.

        A rule for all others must name them then: to the programs a rule out of scale is no rule.
        """
        values: dict[str, list[str]] = {}
        for rule in self.rules:
            if rule.column:
                values.setdefault(rule.column, []).append(rule.value)
        return values if len({rule.up_to for rule in self.rules}) > 1 else {}
