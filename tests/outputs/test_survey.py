"""stakes_survey.csv and its side-car, read back with the csv module and with pandas."""

import csv
import dataclasses
import re

import numpy as np
import pandas as pd
import pytest

from layoutplan.errors import OutputError
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.gpx import write_gpx
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.survey import write_survey

from .projections import US_FOOT_M, UTM_32


def read(plan, folder) -> tuple[list[list[str]], str]:
    table, notes = write_survey(plan, folder)
    assert (table.name, notes.name) == ("stakes_survey.csv", "stakes_survey.txt")
    with table.open(encoding="ascii", newline="") as file:
        return list(csv.reader(file, strict=True)), notes.read_text("utf-8")


def with_heights(plan, height_m: float):
    frames = {
        name: getattr(plan, name).assign(elevation_m=height_m + np.arange(len(getattr(plan, name))))
        for name in ("towers", "electrodes")
    }
    return dataclasses.replace(plan, **frames)


def test_each_tower_and_then_its_stakes(plan, tmp_path) -> None:
    rows, _ = read(plan, tmp_path)
    assert len(rows) == len(plan.towers) + len(plan.electrodes)
    assert [row[0] for row in rows[:4]] == ["10010", "10011", "10012", "10020"]
    names = [row[4].split(" ")[0] for row in rows]
    stakes = [name for name in names if not name.endswith("-T")]
    assert [name.removesuffix("-NO") for name in stakes] == plan.electrodes["waypoint"].tolist()
    calm = plan.electrodes["status"].isin(["all rules met", "take care", "compromise"])
    assert [not name.endswith("-NO") for name in stakes] == calm.tolist()
    fifth = plan.towers["tower_id"].iloc[4]  # without layout: its stakes' numbers stay free
    assert not (plan.electrodes["tower_id"] == fifth).any()
    assert [row[0] for row in rows if row[0].startswith("1005")] == ["10050"]


def test_positions_to_the_millimetre_by_other_formulas(plan, tmp_path) -> None:
    """Krueger's series; see `projections`."""
    rows, _ = read(plan, tmp_path)
    by_name = {row[4].split(" ")[0].removesuffix("-NO"): (float(row[2]), float(row[1])) for row in rows}
    for name, lon, lat in plan.electrodes[["waypoint", "lon", "lat"]].itertuples(index=False):
        assert by_name[name] == pytest.approx(UTM_32(lon, lat), abs=0.001)


def test_the_plan_s_own_eastings(sample_plan, tmp_path) -> None:
    """A plan of the program's own holds the same eastings, northings and grid bearings."""
    made = sample_plan
    rows, notes = read(made, tmp_path)
    by_name = {row[4].split(" ")[0].removesuffix("-NO"): (float(row[2]), float(row[1])) for row in rows}
    stakes = made.electrodes
    assert np.allclose([by_name[name] for name in stakes["waypoint"]], stakes[["easting", "northing"]], atol=0.001)
    turn = dict(zip(stakes["waypoint"], stakes["bearing_true_deg"] - stakes["bearing_grid_deg"], strict=True))
    point_of = {row[0]: row[4].split(" ")[0].removesuffix("-NO") for row in rows}
    told = {match[1]: float(match[2]) for match in re.finditer(r"^ (\d{5}) .* (-?[\d.]+)°", notes, re.M)}
    for point, name in point_of.items():
        if name in turn:  # the plan's is taken at the tower, this at the stake
            assert told[point] == pytest.approx(turn[name] % 360, abs=0.003)


def test_every_point_carries_its_status(plan, tmp_path) -> None:
    rows, _ = read(plan, tmp_path)
    told = [row[4].split(" ", 1)[1].removesuffix(f" {plan_number(plan)}") for row in rows]
    assert set(told) <= set(STATUSES)
    assert {"map does not cover", "no layout"} <= set(told)


def test_names_as_on_the_receivers(plan, tmp_path) -> None:
    rows, _ = read(plan, tmp_path)
    names = set(re.findall(r"<name>([^<]*)</name>", write_gpx(plan, tmp_path)[0].read_text("utf-8")))
    assert {row[4].split(" ")[0] for row in rows} <= names


@pytest.mark.parametrize(
    ("columns", "header"),
    [("P,N,E,Z,D", "point,northing_m,easting_m,elevation_m,description"), ("e, n", "easting_m,northing_m")],
)
def test_order_and_header_as_the_job_says(make_plan, tmp_path, columns, header) -> None:
    plan = make_plan(survey={"columns": columns, "header": True})
    rows, notes = read(plan, tmp_path)
    assert ",".join(rows[0]) == header
    lines = (tmp_path / "stakes_survey.csv").read_bytes().split(b"\r\n")
    assert len(lines) == len(rows) + 1
    easting = pd.read_csv(tmp_path / "stakes_survey.csv")["easting_m"]
    assert easting.iloc[0] == pytest.approx(UTM_32(plan.towers["lon"].iloc[0], plan.towers["lat"].iloc[0])[0], abs=1e-3)
    assert "a header line" in notes


@pytest.mark.parametrize(
    ("crs", "symbol", "metres", "words"),
    [
        ("EPSG:32632", "m", 1.0, "elevations: metre"),
        ("+proj=utm +zone=32 +datum=WGS84 +units=ft", "ft", 0.3048, "international foot"),
        ("+proj=utm +zone=32 +datum=WGS84 +units=us-ft", "us_ft", US_FOOT_M, "US survey foot"),
    ],
)
def test_units(make_plan, tmp_path, crs, symbol, metres, words) -> None:
    plan = with_heights(dataclasses.replace(make_plan(survey={"header": True}), grid_crs=crs), 400.0)
    rows, notes = read(plan, tmp_path)
    assert rows[0][1:4] == [f"{name}_{symbol}" for name in ("northing", "easting", "elevation")]
    lon, lat = plan.towers[["lon", "lat"]].iloc[0]
    east, north = (float(value) * metres for value in (rows[1][2], rows[1][1]))
    assert (east, north) == pytest.approx(UTM_32(lon, lat), abs=0.001)
    assert float(rows[1][3]) * metres == pytest.approx(400.0, abs=0.006)
    assert words in notes
    assert ("differ by 2 parts in a million" in notes) == (metres != 1.0)
    if "+proj" in crs:
        assert "Definition (WKT): PROJCRS" in notes
    else:
        assert "EPSG:32632 WGS 84 / UTM zone 32N" in notes


def test_unknown_elevation_is_empty_and_said_so(plan, tmp_path) -> None:
    rows, notes = read(with_heights(plan, np.nan), tmp_path)
    assert {row[3] for row in rows} == {""}
    assert "Unknown: no elevation model reaches the points" in notes
    assert "Elevation factor: unknown" in notes
    assert "Combined scale factor: unknown" in notes


def test_known_elevation_gives_the_combined_factor(plan, tmp_path) -> None:
    rows, notes = read(with_heights(plan, 1000.0), tmp_path)
    assert rows[0][3] == "1000.00"
    scale, elevation, combined = (
        float(re.search(rf"^{name}: .* mean ([\d.]+)$", notes, re.M)[1])
        for name in ("Grid scale factor", "Elevation factor", "Combined scale factor")
    )
    assert elevation == pytest.approx(6_372_161 / (6_372_161 + 1003.3), abs=1e-6)
    assert combined == pytest.approx(scale * elevation, abs=2e-8)
    assert "Height datum: unknown" in notes


def test_partly_known_elevation(plan, tmp_path) -> None:
    high = with_heights(plan, 500.0)
    towers = high.towers.assign(elevation_m=np.where(high.towers["order"] == 2, np.nan, high.towers["elevation_m"]))
    rows, notes = read(dataclasses.replace(high, towers=towers), tmp_path)
    assert next(row[3] for row in rows if row[0] == "10020") == ""
    assert f"Unknown at 1 of {len(rows)} points" in notes
    assert "Where the elevation is unknown, so is the combined factor" in notes


def test_hostile_names_stay_out_of_the_list(make_plan, hostile_texts, tmp_path) -> None:
    rows, notes = read(make_plan(len(hostile_texts) + 2), tmp_path)
    data = (tmp_path / "stakes_survey.csv").read_bytes()
    assert re.fullmatch(rb"[A-Za-z0-9 .,\r\n-]*", data)
    assert {len(row) for row in rows} == {5}
    for cell in (cell for row in rows for cell in row):
        assert not re.match(r"[=+\-@\t\r|%]", cell)
    assert len({row[4] for row in rows}) == len(rows)
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e]", notes)
    assert "Башня 12 鉄塔 🗼" in notes  # the side-car tells which tower is meant
    points = notes.partition("POINTS\n")[2].partition("\n\n")[0].splitlines()
    assert len(points) == len(rows) + 1  # no name broke a line


def test_cautions_and_precedence(plan, tmp_path) -> None:
    _, notes = read(plan, tmp_path)
    assert "Local codes, the asset owner's rules and licensed practice take precedence" in notes
    assert all(caution in notes for caution in plan.cautions)
    assert "nothing was scaled to ground" in notes


def test_empty_plan(empty_plan, tmp_path) -> None:
    rows, _ = read(empty_plan, tmp_path)
    assert [row[0] for row in rows] == ["10010", "10020"]


def test_same_plan_same_bytes(make_plan, tmp_path) -> None:
    made = []
    for name in "ab":
        (tmp_path / name).mkdir()
        made.append([path.read_bytes() for path in write_survey(make_plan(), tmp_path / name)])
    assert made[0] == made[1]


def test_a_grid_without_eastings(plan, tmp_path) -> None:
    with pytest.raises(OutputError, match=r"output\.grid_crs': 'EPSG:4326' gives no eastings"):
        write_survey(dataclasses.replace(plan, grid_crs="EPSG:4326"), tmp_path)
    assert list(tmp_path.iterdir()) == []
