"""Make the sample data: ``python make_sample.py [FOLDER]`` writes it into FOLDER (by default beside this script).

Every place and name is invented. There is no chance and no clock in it: each run writes the same content.
"""

from __future__ import annotations

import sys
from pathlib import Path

from valley.osm import write_osm
from valley.tables import write_fault_currents, write_geopackage, write_terrain, write_tower_list
from valley.world import build


def main(folder: Path) -> None:
    """Write all files of the sample into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    world = build()
    write_geopackage(world, folder / "valley.gpkg")
    write_osm(world, folder / "valley.osm.pbf")
    write_tower_list(world, folder / "towers.csv")
    write_fault_currents(folder / "fault_currents.csv")
    write_terrain(world, folder / "dem.tif")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
