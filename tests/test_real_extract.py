"""The main job on real open map data, from the job file that ships in the documentation."""

import importlib.util
from pathlib import Path

import numpy as np
import osmium
import pytest
import shapely
from pyproj import Transformer

from layoutplan import load_job
from layoutplan.outputs.write import write_plan
from layoutplan.planning.pipeline import plan
from layoutplan.store.record import read_plan_record

ROOT = Path(__file__).parents[1]
pytestmark = [pytest.mark.shared, pytest.mark.long]


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
    write_plan(made, tmp_path / "out")
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


@pytest.mark.parametrize("job", ["job_230kv_town", "job_230kv_branch"])
def test_no_stake_is_called_clear_beside_a_street_without_houses(shared_data, job):
    """A town whose houses are not mapped: streets and houses are read again here, and measured in UTM."""
    made = plan(load_job(shared_data / "honduras" / job / "job.toml"))
    stakes = made.electrodes.to_crs("EPSG:32616")
    extract = shared_data / "honduras" / "tegucigalpa-sur-2023.osm.pbf"
    found = {"street": [], "house": []}
    to_utm = Transformer.from_crs(4326, 32616, always_xy=True).transform
    factory = osmium.geom.WKBFactory()
    for way in osmium.FileProcessor(str(extract)).with_locations():
        if not way.is_way():
            continue
        is_street = way.tags.get("highway") in ("residential", "living_street")
        if is_street or "building" in way.tags or way.tags.get("landuse") == "residential":
            try:
                shape = shapely.from_wkb(bytes.fromhex(factory.create_linestring(way)))
            except (osmium.InvalidLocationError, RuntimeError):
                continue
            found["street" if is_street else "house"].append(shapely.transform(shape, to_utm, interleaved=False))
    streets, houses = np.array(found["street"]), np.array(found["house"])
    answered, _ = shapely.STRtree(houses).query(streets, predicate="dwithin", distance=60.0)
    bare = streets[~np.isin(np.arange(len(streets)), answered)]
    assert len(bare) > 1000
    near, _ = shapely.STRtree(bare).query(stakes.geometry.to_numpy(), predicate="dwithin", distance=60.0)
    beside = stakes.iloc[np.unique(near)]
    assert len(beside) > 0
    assert (beside["status"] == "map does not cover").all()
    assert beside["map_gaps"].str.contains("buildings:bare_streets").all()
    assert (made.towers["status"] == "all rules met").sum() >= 3, "the rest of the line is not accused"


def test_a_town_with_all_its_houses_is_not_accused(shared_data):
    made = plan(load_job(shared_data / "moscow" / "job_hv_town" / "job.toml"))
    assert not made.electrodes["map_gaps"].str.contains("buildings|land_cover|sea").any()
