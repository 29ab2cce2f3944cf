"""Plans that know the ground: heights, slopes, longer leads, and what is unknown."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Geod, Transformer

from layoutplan import load_job
from layoutplan.errors import InputError
from layoutplan.job import Job
from layoutplan.job.terrain import Terrain
from layoutplan.layout.model import Plan
from layoutplan.planning.pipeline import plan

TO_GRID = Transformer.from_crs(4326, 25832, always_xy=True)


@pytest.fixture(scope="module")
def job(sample_folder: Path) -> Job:
    """Without ways on foot, which take half of the time."""
    job = load_job(sample_folder / "job.toml")
    return job.model_copy(update={"access": job.access.model_copy(update={"find_ways": False})})


@pytest.fixture(scope="module")
def bare(job: Job) -> Job:
    """Without map layers, too."""
    return job.model_copy(update={"layers": ()})


def with_ground(job: Job, *files: Path, **keys: float) -> Plan:
    return plan(job.model_copy(update={"terrain": Terrain(files=files, **keys)}))


@pytest.fixture(scope="module")
def made(sample_plan: Plan) -> Plan:
    assert [path.name for path in sample_plan.job.terrain.files] == ["dem.tif"]
    return sample_plan


def tilted(path: Path, slope: float, west: float = 557_000.0) -> Path:
    """A plane that rises to the north by a slope, in metres for a metre of the grid."""
    north = 5_242_000.0 - 10.0 * (np.arange(600) + 0.5)
    height = np.repeat((slope * (north - 5_236_000.0))[:, None], 1200, axis=1)
    shape = {"width": 1200, "height": 600, "count": 1, "dtype": "float32"}
    with rasterio.open(
        path, "w", driver="GTiff", crs=25832, transform=Affine(10, 0, west, 0, -10, 5_242_000.0), **shape
    ) as dem:
        dem.write(height.astype("float32"), 1)
    return path


def test_heights_are_those_of_the_raster(made: Plan, sample_folder: Path) -> None:
    with rasterio.open(sample_folder / "dem.tif") as dem:
        for table in (made.towers, made.electrodes):
            places = list(zip(*TO_GRID.transform(table["lon"], table["lat"]), strict=True))
            cell = np.array([value[0] for value in dem.sample(places)])
            known = cell > -9000
            # the raster's own cell against an interpolated height: half a cell of 20 m on slopes up to 40 degrees
            assert np.abs(table["elevation_m"].to_numpy() - cell)[known].max() < 10.0
            assert np.median(np.abs(table["elevation_m"].to_numpy() - cell)[known]) < 0.5


def test_files_and_assumptions_name_the_model(made: Plan) -> None:
    assert [file.path.name for file in made.files if file.used_for == "terrain"] == ["dem.tif"]
    assert any("cells of 20 m" in text for text in made.assumptions)
    assert not any("slopes are unknown" in text for text in made.assumptions)


def test_a_plane_has_its_slope_and_its_length(bare: Job, tmp_path: Path) -> None:
    """30 % to the north: 16.7 degrees everywhere, facing south; leads as long as the plane makes them."""
    made = with_ground(bare, tilted(tmp_path / "plane.tif", 0.3))
    leads = made.leads
    assert leads["slope_deg"].to_numpy() == pytest.approx(np.degrees(np.arctan(0.3)), abs=0.02)
    assert np.abs((leads["aspect_deg"] - 180 + 180) % 360 - 180).max() < 1.0  # true north and grid north, 0.6 degrees
    convergence = leads["bearing_true_deg"] - leads["bearing_grid_deg"]
    rise = 0.3 * np.cos(np.radians(leads["bearing_true_deg"] - convergence))
    assert leads["ground_length_m"].to_numpy() == pytest.approx(leads["distance_m"] * np.hypot(1, rise), abs=0.05)
    assert leads["height_difference_m"].to_numpy() == pytest.approx(leads["distance_m"] * rise, abs=0.1)
    geod = Geod(ellps="WGS84")
    ends = made.electrodes[["lon", "lat"]].to_numpy()
    starts = made.towers.set_index(["line_id", "tower_id"]).loc[
        list(zip(leads["line_id"], leads["tower_id"], strict=True)), ["lon", "lat"]
    ].to_numpy()  # fmt: skip
    assert geod.inv(*starts.T, *ends.T)[2] == pytest.approx(leads["distance_m"], abs=2e-3)


@pytest.mark.long
def test_steep_ground_is_kept_off_and_named(job: Job, sample_folder: Path) -> None:
    made = with_ground(job, sample_folder / "dem.tif", max_stake_slope_deg=8.0)
    assert made.electrodes["slope_deg"].max() <= 8.0 + 1e-6
    assert {"slope"} <= set(made.exclusions["rule"])
    shut = made.relaxations[made.relaxations["tower_id"] == "T3"]
    assert any("degrees instead of 8" in text for text in shut["text"])
    checks = made.checks[made.checks["rule"] == "slope"]
    assert (checks["verdict"] == "kept").all()


@pytest.mark.long
def test_a_lead_on_steep_ground_stays_on_the_reel(bare: Job, tmp_path: Path) -> None:
    """Up a slope of 100 % only 101 m of the 143 m that the reel reaches are left."""
    rules = bare.rules.model_copy(update={"min_distance_m": 101.0, "electrode_size_multiple": 0.0})
    files = (tilted(tmp_path / "steep.tif", 1.0),)
    steep = Terrain(files=files, max_stake_slope_deg=60.0, attribution="The survey office")
    made = plan(bare.model_copy(update={"rules": rules, "terrain": steep}))
    assert len(made.leads)
    assert (made.leads["lead_length_m"] <= bare.rules.reel_m + 0.05).all()
    assert "on the slope" in set(made.exclusions.query("rule == 'reel'")["detail"])
    assert [file.attribution for file in made.files if file.used_for == "terrain"] == ["The survey office"]


@pytest.mark.long
def test_a_cliff_under_the_lead_is_a_compromise(job: Job, made: Plan, tmp_path: Path) -> None:
    """A step of 40 m all along, to the north of the line: leads that pass it say so.

    With ways on foot the stake would go where one need not walk round the step.
    """
    path = tmp_path / "step.tif"
    with rasterio.open(tilted(tmp_path / "flat.tif", 0.0)) as flat:
        profile = flat.profile
    tower = made.towers.set_index("tower_id").loc["115"]
    _, north = TO_GRID.transform(tower["lon"], tower["lat"])
    row = 5_242_000.0 - 10.0 * (np.arange(600) + 0.5)
    height = np.repeat(np.where(row > north + 30.0, 40.0, 0.0)[:, None], 1200, axis=1).astype("float32")
    with rasterio.open(path, "w", **profile) as dem:
        dem.write(height, 1)
    made = with_ground(job, path)
    lead = made.leads[(made.leads["tower_id"] == "115") & (made.leads["cliff_drop_m"] > 0)]
    assert len(lead) == 1
    assert lead["cliff_drop_m"].item() == pytest.approx(40.0, abs=1.0)
    assert lead["status"].item() == "compromise"
    assert "lead passes a drop of 40 m" in lead["reasons"].item()


@pytest.mark.long
def test_beyond_the_model_nothing_is_flat(job: Job, tmp_path: Path) -> None:
    """A model of the western part: stakes in the east are terrain unknown, and their checks are."""
    path = tilted(tmp_path / "west.tif", 0.0, west=551_000.0)
    made = with_ground(job, path)
    unknown = made.electrodes["slope_deg"].isna()
    assert 0 < unknown.sum() < len(unknown)
    assert made.electrodes.loc[unknown, "reasons"].str.contains("terrain unknown").all()
    assert not (made.electrodes.loc[unknown, "status"] == "all rules met").any()  # unknown is never shown as safe
    assert (made.electrodes.loc[~unknown, "status"] == "all rules met").any()
    checks = made.checks[made.checks["rule"] == "slope"].reset_index(drop=True)
    assert ((checks["verdict"] == "unknown") == unknown.to_numpy()).all()


@pytest.mark.long
def test_a_model_of_another_place(job: Job, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not reach any tower"):
        with_ground(job, tilted(tmp_path / "elsewhere.tif", 0.0, west=300_000.0))
