"""Worlds to solve: the sample's three lines, two lines that part and meet again, a ring of two stations."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import Transformer

from .data import Line, Station, Vertex, Wire, World, wire

SAMPLE = Path(__file__).parents[2] / "sample_gis" / "job.toml"
SOIL_OHM_M, ELECTRODE_M = 100.0, 12.0  # defaults of the job file
# cross-sections that the product assumes where none is given: phase, offset, attachment, sag, radius, ohm/m
GENERIC = {
    110: (
        ("A", -4.5, 17.0, 6.0, 0.011, 1.2e-4),
        ("B", 0.0, 17.0, 6.0, 0.011, 1.2e-4),
        ("C", 4.5, 17.0, 6.0, 0.011, 1.2e-4),
        ("E", 0.0, 22.0, 5.1, 0.0075, 3e-4),
    ),
    220: (
        ("A", -7.5, 21.0, 9.0, 0.0143, 6e-5),
        ("B", 0.0, 21.0, 9.0, 0.0143, 6e-5),
        ("C", 7.5, 21.0, 9.0, 0.0143, 6e-5),
        ("E", -5.5, 28.0, 7.65, 0.0075, 3e-4),
        ("E", 5.5, 28.0, 7.65, 0.0075, 3e-4),
    ),
}


def generic(voltage_kv: int) -> tuple[Wire, ...]:
    """Wires of a generic cross-section."""
    return tuple(wire(*figures) for figures in GENERIC[voltage_kv])


def moved(wires: tuple[Wire, ...], order: str) -> tuple[Wire, ...]:
    """Wires with other phases in the same places, in their order."""
    letters = iter(order)
    return tuple(
        Wire(next(letters), w.offset_m, w.height_m, w.gmr_m, w.ohm_per_m, w.circuit) if w.phase != "E" else w
        for w in wires
    )


# ---- the sample


def sample_world(*, soil_ohm_m: float | None = None) -> World:
    """The three lines of the sample and their stations, read from its files."""
    job = tomllib.loads(SAMPLE.read_text("utf-8"))
    tables = {line["id"]: _towers(line) for line in job["lines"]}
    _fill(tables, [line["id"] for line in job["lines"] if line.get("measured", True)])
    every = pd.concat(tables.values())
    flat = Transformer.from_crs(
        "EPSG:4326", f"+proj=aeqd +lat_0={every.lat.mean()} +lon_0={every.lon.mean()} +datum=WGS84", always_xy=True
    )
    lines, stations = [], {}
    grids = {station["id"]: station["grid_ohm"] for station in job["stations"]}
    for line in job["lines"]:
        table = tables[line["id"]]
        x, y = flat.transform(table.lon.to_numpy(), table.lat.to_numpy())
        vertices = tuple(
            Vertex(*row) for row in zip(x, y, table.tower_id, table.footing_ohm, table.soil_ohm_m, strict=True)
        )
        ends = {}
        for end, vertex in (("start", vertices[0]), ("end", vertices[-1])):
            name = line.get(f"{end}_station", f"{line['id']} {end}")
            ohm = grids.get(name, line.get(f"{end}_grid_ohm"))
            if ohm is not None:
                ends[end] = name
                stations.setdefault(name, Station(name, ohm, vertex.x_m, vertex.y_m, vertex.soil_ohm_m))
        lines.append(Line(line["id"], vertices, _sections(line, list(table.tower_id)), **ends))
    return World(tuple(lines), tuple(stations.values()), soil_ohm_m)


def _towers(line: dict[str, Any]) -> pd.DataFrame:
    asked = line["towers"]
    frame = gpd.read_file(SAMPLE.parent / asked["path"], layer=asked["layer"], where=asked["where"])
    frame = frame.sort_values(asked["order_column"]).to_crs("EPSG:4326")

    def column(key: str) -> Any:
        return frame[asked[key]].to_numpy(float) if key in asked else np.full(len(frame), np.nan)

    base = column("base_width_column")
    size = np.where(np.isnan(base), ELECTRODE_M, np.sqrt(2) * base)
    size = np.where(np.isnan(given := column("earth_electrode_size_column")), size, given)
    soil = column("soil_resistivity_column")
    soil = np.where(np.isnan(soil), SOIL_OHM_M, soil)
    footing = column("footing_resistance_column")
    footing = np.where(np.isnan(footing), soil / (2 * size), footing)
    return pd.DataFrame(
        {
            "tower_id": frame[asked["id_column"]].to_numpy(),
            "lon": frame.geometry.x.to_numpy(),
            "lat": frame.geometry.y.to_numpy(),
            "soil_ohm_m": soil,
            "footing_ohm": footing,
        }
    )


def _fill(tables: dict[str, pd.DataFrame], measured: list[str]) -> None:
    """Lines beside have the median footing of those that are measured, the product's assumption."""
    known = pd.concat([tables[name] for name in measured]).drop_duplicates(["lon", "lat"])  # 104 is in two lists
    for name, table in tables.items():
        if name not in measured:
            table["footing_ohm"] = known.footing_ohm.median()


def _sections(line: dict[str, Any], towers: list[str]) -> tuple[tuple[Wire, ...], ...]:
    spans = [generic(line["voltage_kv"])] * (len(towers) - 1)
    for section in line.get("sections", []):
        wires = tuple(
            wire(
                c["phase"],
                c["offset_m"],
                c["attachment_height_m"],
                c["sag_m"],
                c["diameter_mm"] / 2000,
                c["resistance_ohm_per_km"] / 1000,
            )
            for c in section["conductors"]
        )
        if "phase_order" in section:
            wires = moved(wires, section["phase_order"])
        first = towers.index(section.get("from_tower", towers[0]))
        last = towers.index(section.get("to_tower", towers[-1]))
        spans[first:last] = [wires] * (last - first)
    return tuple(spans)


def sample_faults() -> dict[str, dict[str, tuple[float, float]]]:
    """Fault currents of every line and tower in amperes, from the start and from the end."""
    job = tomllib.loads(SAMPLE.read_text("utf-8"))
    found = {}
    for line in job["lines"]:
        fault, names = line["fault"], _towers(line).tower_id
        if "table" in fault:
            rows = pd.read_csv(SAMPLE.parent / fault["table"]["path"], dtype={"tower_id": str}).set_index("tower_id")
            found[line["id"]] = {n: tuple(1000 * rows.loc[n, ["from_start_ka", "from_end_ka"]]) for n in names}
        else:
            found[line["id"]] = dict.fromkeys(names, (500 * fault["current_ka"],) * 2)
    return found


def sample_loads() -> dict[str, dict[str, float]]:
    """Greatest current of every line in amperes, by sequence."""
    job = tomllib.loads(SAMPLE.read_text("utf-8"))
    return {
        line["id"]: {
            "positive": (most := line["load"]["maximum_a"]),
            "negative": most * line["load"].get("negative_sequence_pct", 2.0) / 100,
            "zero": most * line["load"].get("zero_sequence_pct", 1.0) / 100,
        }
        for line in job["lines"]
    }


# ---- invented ones


def course(points: list[tuple[float, float]], spans: list[int], footing_ohm: float, soil_ohm_m: float, name: str):
    """Structures on straight legs, so many equal spans on each; footings differ from one to the next."""
    xy = [np.array(points[0], float)]
    for a, b, n in zip(points[:-1], points[1:], spans, strict=True):
        xy += [np.array(a) + (np.array(b) - np.array(a)) * k / n for k in range(1, n + 1)]
    return tuple(
        Vertex(x, y, f"{name}{i}", footing_ohm * (1 + 0.4 * np.sin(1.7 * i)), soil_ohm_m) for i, (x, y) in enumerate(xy)
    )


def parting_corridor(soil_ohm_m: float = 100.0) -> World:
    """Two lines from one station: 35 m apart for 12 spans, up to 1.4 km apart, and both over one tower at the end."""
    a = course([(0, 0), (0, 3600), (-900, 5800), (0, 8400)], [12, 8, 9], 10.0, soil_ohm_m, "A")
    b = course([(35, 0), (35, 3600), (500, 6000), (0, 8400)], [12, 8, 8], 12.0, soil_ohm_m, "B")
    meeting = a[-1]
    b = (*b[:-1], meeting)  # the shared tower has one footing
    return World(
        (
            Line("one", a, (generic(220),) * (len(a) - 1), start="south"),
            Line("two", b, (generic(110),) * (len(b) - 1), start="south"),
        ),
        (Station("south", 0.3, 17.5, -60.0, soil_ohm_m),),
        soil_ohm_m,
    )


def ring(soil_ohm_m: float = 200.0) -> World:
    """Two stations joined by two lines by different ways."""
    a = course([(0, 0), (3000, 1500), (6000, 0)], [10, 10], 15.0, soil_ohm_m, "N")
    b = course([(0, -80), (2500, -2000), (6000, -80)], [10, 12], 9.0, soil_ohm_m, "S")
    return World(
        (
            Line("north", a, (generic(220),) * (len(a) - 1), start="west", end="east"),
            Line("south", b, (generic(110),) * (len(b) - 1), start="west", end="east"),
        ),
        (Station("west", 0.25, -50.0, -40.0, soil_ohm_m), Station("east", 0.4, 6050.0, -40.0, soil_ohm_m)),
        soil_ohm_m,
    )


def random_world(seed: int) -> World:
    """One to three lines of 10 to 16 towers that share towers or stations; soil, footings, wires and grids by lot.

    The second line hangs on a tower of the first, or runs beside it from the same station; the third begins at the last
    tower of the first. Some spans have no earth wire.
    """
    lot = np.random.default_rng(seed)
    soil = np.exp(lot.uniform(np.log(30), np.log(3000)))
    first = _wandering(lot, np.zeros(2), lot.uniform(0, 360), soil, "A")
    lines = [Line("one", first, _wires(lot, 220, len(first) - 1), start="south" if lot.random() < 0.7 else None)]
    beside = lot.random() < 0.5
    if seed % 3:
        way = np.array([first[1].x_m, first[1].y_m])
        if beside:
            aside = lot.uniform(25, 120) * np.array([way[1], -way[0]]) / np.hypot(*way)
            bearing = np.degrees(np.arctan2(*way)) + lot.uniform(-3, 8)
            second = _wandering(lot, aside, bearing, soil, "B")
        else:
            at = first[len(first) // 2]
            bearing = np.degrees(np.arctan2(*way)) + lot.choice([-80, 75])
            second = (at, *_wandering(lot, np.array([at.x_m, at.y_m]), bearing, soil, "B")[1:])
        end = "east" if lot.random() < 0.6 else None
        wires = _wires(lot, 110, len(second) - 1)
        lines.append(Line("two", second, wires, start=lines[0].start if beside else None, end=end))
    if seed % 3 == 2:
        last = first[-1]
        bearing = np.degrees(np.arctan2(last.x_m, last.y_m)) + lot.uniform(-60, 60)
        third = (last, *_wandering(lot, np.array([last.x_m, last.y_m]), bearing, soil, "C")[1:])
        lines.append(Line("three", third, _wires(lot, 110, len(third) - 1)))
    stations = []
    for line in lines:
        for name, at in ((line.start, line.vertices[0]), (line.end, line.vertices[-1])):
            if name and name not in [station.name for station in stations]:
                stations.append(Station(name, soil / 4 / lot.uniform(40, 80), at.x_m, at.y_m, soil))
    return World(tuple(lines), tuple(stations), None)


def _wandering(lot: np.random.Generator, start: np.ndarray, bearing_deg: float, soil: float, name: str):
    """Structures of uneven spans that turn a little; soil within a third, footings like discs of 8 to 18 m."""
    found, xy = [], start
    for i in range(lot.integers(10, 17)):
        here = soil * np.exp(lot.uniform(-0.3, 0.3))
        found.append(Vertex(*xy, f"{name}{i}", here / 2 / lot.uniform(8, 18), here))
        bearing_deg += lot.uniform(-12, 12)
        turn = np.radians(bearing_deg)
        xy = xy + lot.uniform(180, 380) * np.array([np.sin(turn), np.cos(turn)])
    return tuple(found)


def _wires(lot: np.random.Generator, voltage_kv: int, spans: int) -> tuple[tuple[Wire, ...], ...]:
    """Generic wires; on every other line some spans have no earth wire."""
    whole, out = generic(voltage_kv), []
    begin = lot.integers(0, spans) if lot.random() < 0.5 else spans
    for i in range(spans):
        out.append(tuple(w for w in whole if w.phase != "E") if begin <= i < begin + 3 else whole)
    return tuple(out)
