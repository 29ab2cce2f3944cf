"""A job as the reference's plain numbers, so that solver and product start from the same inputs.

It asks the package for positions, conductors, footings and soil, for no result.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from pyproj import Transformer

from layoutplan.electrical import generic_cross_section
from layoutplan.inputs import read_inputs
from layoutplan.inputs.model import LineInput
from layoutplan.job import Job, load_job
from layoutplan.line import build_lines
from layoutplan.line.course import OrderedLine, order_line

from .data import Line, Station, Vertex, Wire, World, wire
from .worlds import moved


class JobWorld:
    """World of a job, and the frame in which it lies flat.

    Stations that the job names keep their name; an end with a grid of its own is one named "LINE start" or "LINE end".
    Stations stand at all of their line ends.
    """

    def __init__(self, job: Job | Path, *, soil_ohm_m: float | None = None) -> None:
        self.job = load_job(job) if isinstance(job, Path) else job
        if self.job.soil.raster or self.job.soil.lower_resistivity_ohm_m:
            raise NotImplementedError("The reference takes uniform soil, or soil by towers.")
        inputs = read_inputs(self.job)
        self.towers = build_lines(inputs.lines).towers
        courses = [order_line(source) for source in inputs.lines]
        lonlat = np.concatenate([axis for course in courses for axis in course.axes])
        east, north = lonlat.mean(axis=0)
        frame = f"+proj=aeqd +lat_0={north} +lon_0={east} +datum=WGS84"
        self._flat = Transformer.from_crs("EPSG:4326", frame, always_xy=True)
        size = self.towers.electrode_size_m
        self.soil = np.where(np.isnan(self.towers.soil_ohm_m), self.job.soil.resistivity_ohm_m, self.towers.soil_ohm_m)
        given = self.job.method.footing_resistance_ohm
        guess = self.soil / (2 * size) if given is None else np.full(len(size), given)
        self.footing = np.where(np.isnan(self.towers.footing_ohm), guess, self.towers.footing_ohm)
        stations: dict[str, Station] = {}
        lines = [self._line(s, c, stations) for s, c in zip(inputs.lines, courses, strict=True)]
        self._tables = {source.line.id: source.faults for source in inputs.lines}
        self.world = World(tuple(lines), tuple(stations.values()), soil_ohm_m)

    def xy(self, lonlat_deg: np.ndarray) -> np.ndarray:
        """Positions in the flat frame."""
        lonlat = np.asarray(lonlat_deg, float)
        return np.stack(self._flat.transform(lonlat[..., 0], lonlat[..., 1]), axis=-1)

    def faults(self, line: str) -> dict[str, tuple[float, float]]:
        """Fault current in amperes from a line's start and from its end, by tower; empty where the job gives none."""
        fault = next(item.fault for item in self.job.lines if item.id == line)
        names = [v.name for item in self.world.lines if item.name == line for v in item.vertices if v.name]
        if fault is None:
            return {}
        if (table := self._tables[line]) is not None:
            rows = zip(table.tower_id, table.from_start_a, table.from_end_a, strict=True)
            return {name: (float(start), float(end)) for name, start, end in rows}
        if fault.current_ka is not None:
            return dict.fromkeys(names, (500 * fault.current_ka,) * 2)
        return dict.fromkeys(names, (1000 * fault.from_start_ka, 1000 * fault.from_end_ka))

    def _line(self, source: LineInput, course: OrderedLine, stations: dict[str, Station]) -> Line:
        line, names = source.line, list(source.towers["tower_id"].to_numpy(dtype=str)[course.rows])
        vertices = [Vertex(*self.xy(bend)) for bend in course.axes[0][:-1]]
        towers = []
        for name, row, axis in zip(names, course.rows, course.axes[1:], strict=True):
            towers.append(len(vertices))
            vertices.append(self._vertex(axis[0], name, source, row))
            vertices += [Vertex(*self.xy(bend)) for bend in axis[1 : len(axis) - (len(towers) < len(names))]]
        ends = {}
        for end, vertex in (("start", vertices[0]), ("end", vertices[-1])):
            name, ohm = getattr(line, f"{end}_station"), getattr(line, f"{end}_grid_ohm")
            if name is not None:
                ohm = next(station.grid_ohm for station in self.job.stations if station.id == name)
            if ohm is not None:
                ends[end] = name or f"{line.id} {end}"
                here = Station(ends[end], ohm, vertex.x_m, vertex.y_m, vertex.soil_ohm_m)
                known = stations.setdefault(ends[end], here)
                if known is not here:
                    further = (*known.further_m, (vertex.x_m, vertex.y_m))
                    stations[ends[end]] = replace(known, further_m=further)
        by_tower = _spans(source, names)
        of = np.searchsorted(towers, np.arange(len(vertices) - 1), "right") - 1
        spans = [by_tower[i] for i in of.clip(0, len(by_tower) - 1)]
        return Line(line.id, tuple(vertices), tuple(spans), **ends)

    def _vertex(self, lonlat: np.ndarray, name: str, source: LineInput, row: int) -> Vertex:
        xy = self.xy(lonlat)
        apart = np.hypot(*(self.xy(self.towers.lonlat_deg) - xy).T)
        if source.line.measured or apart.min() < 1.0:
            i = int(apart.argmin())
            return Vertex(*xy, name, float(self.footing[i]), float(self.soil[i]))
        table = source.towers.iloc[row]
        soil = table["soil_resistivity_ohm_m"]
        soil = self.job.soil.resistivity_ohm_m if np.isnan(soil) else soil
        footing = table["footing_resistance_ohm"]
        footing = np.median(self.footing) if np.isnan(footing) else footing
        return Vertex(*xy, name, float(footing), float(soil))


def _spans(source: LineInput, names: list[str]) -> list[tuple[Wire, ...]]:
    """Wires of every span between towers."""
    spans = [_generic(source.line.voltage_kv)] * (len(names) - 1)
    for section in source.line.sections:
        wires = (
            spans[0]
            if not section.conductors
            else tuple(
                wire(
                    c.phase,
                    c.offset_m,
                    c.attachment_height_m,
                    c.sag_m,
                    c.diameter_mm / 2000,
                    c.resistance_ohm_per_km / 1000,
                    c.circuit,
                    c.sub_conductors,
                    c.bundle_spacing_m,
                    None if c.gmr_mm is None else c.gmr_mm / 1000,
                )
                for c in section.conductors
            )
        )
        if section.phase_order:
            wires = moved(wires, section.phase_order.replace("/", ""))
        first = 0 if section.from_tower is None else names.index(section.from_tower)
        last = len(names) - 1 if section.to_tower is None else names.index(section.to_tower)
        spans[first:last] = [wires] * (last - first)
    return spans


def _generic(voltage_kv: float) -> tuple[Wire, ...]:
    return tuple(
        wire(
            c.phase,
            c.offset_m,
            c.attachment_height_m,
            c.sag_m,
            c.radius_m,
            c.resistance_ohm_per_m,
            c.circuit,
            c.sub_conductors,
            c.bundle_spacing_m,
            c.gmr_m,
        )
        for c in generic_cross_section(voltage_kv).conductors
    )
