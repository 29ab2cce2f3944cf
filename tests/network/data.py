"""Plain input of the reference solve: lines as they stand and hang, stations, soil. SI units, flat metres.

Nothing here knows the package under test; ``adapter.py`` hands over a job's figures as these numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

SOLID = np.exp(-0.25)  # geometric mean radius of a solid round wire, as a share of its radius


@dataclass(frozen=True)
class Wire:
    """One conductor of a span: offset to the right of the axis, mean height (attachment less 2/3 of the sag)."""

    phase: str  # "E" is an earth wire
    offset_m: float
    height_m: float
    gmr_m: float
    ohm_per_m: float
    circuit: int = 1


def wire(
    phase: str,
    offset_m: float,
    attachment_m: float,
    sag_m: float,
    radius_m: float,
    ohm_per_m: float,
    circuit: int = 1,
    sub_conductors: int = 1,
    spacing_m: float = 0.4,
    gmr_m: float | None = None,
) -> Wire:
    """Wire from its catalogue figures; a bundle of n on a regular polygon has the GMR (n g R^(n-1))^(1/n)."""
    gmr = SOLID * radius_m if gmr_m is None else gmr_m
    if sub_conductors > 1:
        circle = spacing_m / (2 * np.sin(np.pi / sub_conductors))
        gmr = (sub_conductors * gmr * circle ** (sub_conductors - 1)) ** (1 / sub_conductors)
    return Wire(phase, offset_m, attachment_m - sag_m * 2 / 3, float(gmr), ohm_per_m, circuit)


@dataclass(frozen=True)
class Vertex:
    """A structure, or a bend of the axis where nothing stands (``footing_ohm`` None: the wires pass through)."""

    x_m: float
    y_m: float
    name: str = ""
    footing_ohm: float | None = None
    soil_ohm_m: float = 100.0


@dataclass(frozen=True)
class Station:
    """An earth grid, taken as a hemisphere about its place; it hangs on the last structure of every line that ends.

    With further places it is one about whichever is nearest to what is looked at.
    """

    name: str
    grid_ohm: float
    x_m: float
    y_m: float
    soil_ohm_m: float = 100.0
    further_m: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Line:
    """Vertices in order, the wires of every span between neighbours, and the stations at the ends, by name."""

    name: str
    vertices: tuple[Vertex, ...]
    spans: tuple[tuple[Wire, ...], ...]
    start: str | None = None
    end: str | None = None

    def __post_init__(self) -> None:
        if len(self.spans) != len(self.vertices) - 1:
            raise ValueError(f"{self.name}: {len(self.vertices)} vertices need one set of wires fewer.")

    def structures(self) -> list[int]:
        """Vertices where something stands, and both ends."""
        last = len(self.vertices) - 1
        return [i for i, vertex in enumerate(self.vertices) if vertex.footing_ohm is not None or i in (0, last)]


@dataclass(frozen=True)
class World:
    """Everything that is solved together; ``soil_ohm_m`` None takes the soil of the structures for each span."""

    lines: tuple[Line, ...]
    stations: tuple[Station, ...] = ()
    soil_ohm_m: float | None = 100.0


@dataclass(frozen=True)
class Options:
    """What is in the matrix.

    ``own_line`` "carson": wires of one span are coupled as infinite ones for its length, neighbouring spans of a line
    not at all (the model of all ladder formulas); "neumann": every pair of finite spans. ``beside``, between lines on
    towers of their own: "neumann", or "carson" for the length that spans lie abreast. ``kernel`` "exact": the earth
    return of Carson's integral; "deri": one image at the complex depth.
    """

    mutual_lines: bool = True
    mutual_footings: bool = False
    own_line: str = "carson"
    beside: str = "neumann"
    kernel: str = "exact"

    def __post_init__(self) -> None:
        if (self.own_line, self.beside) == ("neumann", "carson"):
            raise ValueError("Finite spans of a line and endless ones beside it do not go together.")


@dataclass
class Excitation:
    """Current in every phase branch, from a span's first structure to its second, and current put into every node."""

    phase_a: np.ndarray
    injected_a: np.ndarray


@dataclass(frozen=True)
class State:
    """Solution: potential of every node, current in every earth-wire branch and out of every earth electrode."""

    potential_v: np.ndarray
    branch_a: np.ndarray
    electrode_a: np.ndarray
    excitation: Excitation = field(repr=False)
