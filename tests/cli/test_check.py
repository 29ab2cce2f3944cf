"""``layoutplan check`` as a user runs it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import gpxpy
import numpy as np
import pyogrio
import pytest
from click.testing import CliRunner
from geographiclib.geodesic import Geodesic

import layoutplan
from layoutplan.cli.main import cli
from layoutplan.layout.model import Plan


@pytest.fixture(scope="module")
def written(sample_plan_with: Callable[..., Plan], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    layoutplan.write(sample_plan_with(formats=("gpkg", "gpx", "json")), folder)
    return folder


@pytest.fixture
def copy(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "plan"))


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(cli, [str(argument) for argument in arguments])
    return result.exit_code, result.output


def test_an_untouched_plan_holds(copy: Path) -> None:
    before = (copy / "plan.gpkg").read_bytes()
    code, text = run("check", copy)
    assert code == 0
    assert "52 stakes checked: 0 moved or new, 0 break rules, 0 missing" in text
    assert (copy / "plan.gpkg").read_bytes() == before
    assert {path.name for path in (copy / "check").glob("[!.]*")} == {"check.gpkg", "check.csv"}


def test_staked_points_shifted_by_known_offsets(copy: Path, tmp_path: Path) -> None:
    """Another geodesic library moves the waypoints of the plan's own GPX; the check finds the same offsets."""
    gpx = gpxpy.parse((copy / "waypoints.gpx").read_text("utf-8"))
    random, wanted = np.random.default_rng(7), {}
    for point in gpx.waypoints:
        name = point.name.removesuffix("-NO")  # as receivers show those that wait for something
        wanted[name] = float(random.uniform(0.05, 6.0)), float(random.uniform(0, 360))
        place = Geodesic.WGS84.Direct(point.latitude, point.longitude, wanted[name][1], wanted[name][0])
        point.latitude, point.longitude = place["lat2"], place["lon2"]
    (tmp_path / "staked.gpx").write_text(gpx.to_xml(), "utf-8")
    code, text = run("check", copy, "--staked", tmp_path / "staked.gpx", "--json", "--out", tmp_path / "result")
    found = json.loads(text)
    assert code == 1  # some limits were kept to the centimetre
    assert len(found["moved"]) == 52
    assert found["missing"] == []
    for row in found["moved"]:
        distance, bearing = wanted[row["waypoint"]]
        assert row["offset_m"] == pytest.approx(distance, abs=0.02)
        turn = (row["offset_bearing_deg"] - bearing + 180) % 360 - 180
        assert abs(np.radians(turn)) * distance < 0.02
    layers = pyogrio.list_layers(tmp_path / "result" / "check.gpkg")[:, 0].tolist()
    assert {"electrodes", "leads", "checks", "exposures"} <= set(layers)


@pytest.mark.long
def test_the_plans_own_waypoints_hold(copy: Path, tmp_path: Path) -> None:
    """What a receiver gives back of points that stand exactly at a limit, to its last digit, breaks none."""
    (tmp_path / "staked.gpx").write_bytes((copy / "waypoints.gpx").read_bytes())
    code, text = run("check", copy, "--staked", tmp_path / "staked.gpx")
    assert "0 break rules, 0 not surveyed yet" in text
    assert code == 0


@pytest.mark.long
def test_points_that_are_missing_or_strange_are_named(copy: Path, tmp_path: Path) -> None:
    table = pyogrio.read_dataframe(copy / "plan.gpkg", layer="electrodes")
    rows = ["name,lon,lat,accuracy_m,electrode_h_ohm,voltage_h_v"]
    rows += [f"{row.waypoint},{row.lon:.9f},{row.lat:.9f},3,1500,2.0" for row in table.head(10).itertuples()]
    rows.append("somewhere,9.85,47.40,,,")
    (tmp_path / "staked.csv").write_text("\n".join(rows) + "\n", "utf-8")
    code, text = run("check", copy, "--staked", tmp_path / "staked.csv", "--complete")
    assert code == 1
    assert "10 stakes checked" in text
    assert "42 missing" in text
    assert "somewhere" in text
    assert "common practice, no published source" in text  # electrodes above 1,000 ohm
    assert "Traceback" not in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("check", "nowhere"), "no plan here"),
        (("check", "PLAN", "--staked", "nowhere.gpx"), "nowhere.gpx"),
        (("check", "PLAN", "--readings", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_errors_in_words(copy: Path, arguments: tuple[str, ...], words: str) -> None:
    code, text = run(*(str(copy) if argument == "PLAN" else argument for argument in arguments))
    assert code == 2
    assert text.startswith("error: ")
    assert words in text
