"""A world of the reference as a job on disk, so that the product can be given what the reference was given.

Wires hang without sag at their mean height, with their geometric mean radius; every structure has its footing and soil
in the towers' file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd
from pyproj import Transformer

from .data import Line, Wire, World

FRAME = "+proj=aeqd +lat_0=47 +lon_0=10 +datum=WGS84"


def write_job(
    world: World,
    folder: Path,
    *,
    voltage_kv: Mapping[str, float] | None = None,
    more: Mapping[str, Sequence[str]] | None = None,
    tail: str = "",
) -> Path:
    """Write job.toml and a file of towers for each line.

    ``more``: further TOML lines by line or station; ``tail`` at the end.
    """
    lonlat = Transformer.from_crs(FRAME, "EPSG:4326", always_xy=True)
    text = []
    for line in world.lines:
        if len(line.structures()) < len(line.vertices):
            raise NotImplementedError(f"{line.name}: bends between towers need a centreline.")
        lon, lat = lonlat.transform([v.x_m for v in line.vertices], [v.y_m for v in line.vertices])
        table = {
            "tower_id": [v.name for v in line.vertices],
            "lon": lon,
            "lat": lat,
            "footing_ohm": [v.footing_ohm for v in line.vertices],
            "soil_ohm_m": [v.soil_ohm_m for v in line.vertices],
        }
        pd.DataFrame(table).to_csv(folder / f"{line.name}.csv", index=False)
        text += ["[[lines]]", f'id = "{line.name}"', f"voltage_kv = {(voltage_kv or {}).get(line.name, 220)}"]
        text += [f'{end}_station = "{at}"' for end in ("start", "end") if (at := getattr(line, end))]
        text += (more or {}).get(line.name, ())
        text += [
            "[lines.towers]",
            f'path = "{line.name}.csv"',
            'footing_resistance_column = "footing_ohm"',
            'soil_resistivity_column = "soil_ohm_m"',
            *_sections(line),
        ]
    for station in world.stations:
        text += ["[[stations]]", f'id = "{station.name}"', f"grid_ohm = {station.grid_ohm}"]
        text += (more or {}).get(station.name, ())
    if world.soil_ohm_m:
        text += ["[soil]", f"resistivity_ohm_m = {world.soil_ohm_m}"]
    path = folder / "job.toml"
    path.write_text("\n".join([*text, tail]), "utf-8")
    return path


def _sections(line: Line) -> list[str]:
    """One section for every run of spans with the same wires."""
    text, first = [], 0
    for i in range(1, len(line.spans) + 1):
        if i == len(line.spans) or line.spans[i] != line.spans[first]:
            ends = line.vertices[first].name, line.vertices[i].name
            text += ["[[lines.sections]]", f'from_tower = "{ends[0]}"', f'to_tower = "{ends[1]}"', "conductors = ["]
            text += [f"  {_conductor(w)}," for w in line.spans[first]] + ["]"]
            first = i
    return text


def _conductor(w: Wire) -> str:
    figures = {
        "offset_m": w.offset_m,
        "attachment_height_m": w.height_m,
        "diameter_mm": 2600 * w.gmr_m,  # of no account beside the GMR, but not nothing for the electric field
        "gmr_mm": 1000 * w.gmr_m,
        "resistance_ohm_per_km": 1000 * w.ohm_per_m,
        "circuit": w.circuit,
    }
    return f'{{ phase = "{w.phase}", ' + ", ".join(f"{key} = {value!r}" for key, value in figures.items()) + " }"
