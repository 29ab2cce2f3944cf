"""Ways on foot of whole plans, held against the map files by a program of its own."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

from layoutplan import load_job
from layoutplan.outputs.write import write_plan
from layoutplan.planning.pipeline import plan

ROOT = Path(__file__).parents[1]
CELL_M = 4.0  # of the job file reference


@pytest.fixture(scope="module")
def check():
    spec = importlib.util.spec_from_file_location("independent_ways", ROOT / "tests" / "independent_ways.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclass looks itself up there
    spec.loader.exec_module(module)
    return module


def test_sample(sample_folder, sample_run, check):
    ways = check.written_ways(sample_run[0], "EPSG:25832")
    barriers = check.sample_barriers(sample_folder / "valley.gpkg")
    assert ways.geometry.notna().sum() > 70
    assert barriers.breaches(ways, CELL_M) == []
    straight = ways[ways.geometry.notna()].assign(geometry=lambda table: table.geometry.map(_end_to_end))
    assert barriers.breaches(straight, CELL_M), "straight lines would not do: the check sees what is in the way"


def _end_to_end(way):
    return shapely.LineString([way.coords[0], way.coords[-1]])


@pytest.mark.long
@pytest.mark.shared
def test_mountain_line(shared_data, tmp_path, check):
    text = (ROOT / "docs" / "examples" / "andorra_150kv.toml").read_text("utf-8")
    job_file = tmp_path / "job.toml"
    job_file.write_text(text.replace("../../../shared/data", str(shared_data)), "utf-8")
    write_plan(plan(load_job(job_file)), tmp_path / "out")
    ways = check.written_ways(tmp_path / "out", "EPSG:25831")
    assert ways.geometry.notna().sum() > 250
    bounds = ways.to_crs(4326).total_bounds + np.array([-0.02, -0.02, 0.02, 0.02])
    barriers = check.extract_barriers(shared_data / "andorra" / "andorra-250119.osm.pbf", bounds, "EPSG:25831")
    assert len(barriers.blocked) > 3000
    assert barriers.breaches(ways, CELL_M) == []
