"""The main job on real open map data, from the job file that ships in the documentation."""

import importlib.util
from pathlib import Path

import pytest

from layoutplan import load_job
from layoutplan.planning.pipeline import plan
from layoutplan.planning.read import read_plan_record

ROOT = Path(__file__).parents[1]
pytestmark = pytest.mark.shared


def job_with_data_at(source, data, folder):
    """Copy a shipped job file with its data taken from where the data is."""
    text = source.read_text("utf-8").replace("../../../shared/data", str(data))
    path = folder / source.name
    path.write_text(text, "utf-8")
    return path


@pytest.fixture(scope="module")
def violations():
    spec = importlib.util.spec_from_file_location("independent_check", ROOT / "tests" / "independent_check.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.violations


def test_mountain_line_keeps_every_rule(shared_data, tmp_path, violations):
    job_file = job_with_data_at(ROOT / "docs" / "examples" / "andorra_150kv.toml", shared_data, tmp_path)
    made = plan(load_job(job_file))
    assert len(made.towers) == 117
    assert set(made.towers["status"]) >= {"all rules met", "needs agreement", "no layout"}
    assert made.towers.loc[made.towers["status"] == "no layout", "reasons"].str.len().min() > 20
    made.write(tmp_path / "out")
    assert violations(tmp_path / "out", job_file) == []
    assert 500_000 < (tmp_path / "out" / "map.html").stat().st_size < 117 / 300 * 10e6
    assert "simplified by up to 1 m" in read_plan_record(tmp_path / "out")["notes"][0]


def test_towers_beyond_the_border_are_not_called_clear(shared_data, tmp_path):
    extract = shared_data / "andorra" / "andorra-250119.osm.pbf"
    job_file = tmp_path / "job.toml"
    job_file.write_text(
        f'[[lines]]\nosm = {{ path = "{extract}", way_ids = [387673320] }}\n[[layers]]\npath = "{extract}"\n', "utf-8"
    )
    towers = plan(load_job(job_file)).towers
    south = towers["lat"] < 42.4276  # the header box of the extract ends there
    assert south.sum() > 60
    assert not towers.loc[south, "map_covers"].any()
    assert towers.loc[south, "status"].isin(["map does not cover", "no layout"]).all()
    assert towers["map_covers"].any()
