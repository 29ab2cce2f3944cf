"""stakes.dxf: read back by ezdxf with its audit, and by GDAL, which shares no code with it."""

import dataclasses
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from ezdxf import recover

from layoutplan.outputs import dxf
from layoutplan.outputs.dxf import write_dxf
from layoutplan.outputs.dxf.text import dxf_text, layer_name
from layoutplan.outputs.grid import grid_of
from layoutplan.outputs.keep_outs import keep_outs, near_the_line

from .projections import US_FOOT_M, UTM_32

UNITS = (
    ("EPSG:32632", 6, 1, 1.0),
    ("+proj=utm +zone=32 +datum=WGS84 +units=ft", 2, 0, 0.3048),
    ("+proj=utm +zone=32 +datum=WGS84 +units=us-ft", 21, 0, US_FOOT_M),
)
GOOD_LAYER = re.compile(r"[A-Z0-9_-]+").fullmatch


def drawing_of(plan, folder):
    path, notes = write_dxf(plan, folder)
    assert (path.name, notes.name) == ("stakes.dxf", "stakes_dxf.txt")
    return ezdxf.readfile(path)


def by_gdal(path):
    """Blocks kept as points with their attributes; GDAL is told that DXF from R2007 on is UTF-8."""
    pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": "FALSE", "DXF_ENCODING": "UTF-8"})
    try:
        return pyogrio.read_dataframe(path, layer="entities")
    finally:
        pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": None, "DXF_ENCODING": None})


@pytest.mark.first(1)
@pytest.mark.parametrize(("crs", "insunits", "measurement", "metres"), UNITS, ids=["metre", "foot", "US survey foot"])
def test_gdal_finds_every_stake_to_the_millimetre(plan, tmp_path, crs, insunits, measurement, metres) -> None:
    drawing = drawing_of(dataclasses.replace(plan, grid_crs=crs), tmp_path)
    assert drawing.header["$INSUNITS"] == insunits
    assert drawing.header["$MEASUREMENT"] == measurement
    assert drawing.dxfversion >= "AC1024"  # R2010
    found = by_gdal(tmp_path / "stakes.dxf")
    for name, table in (("STAKES", plan.electrodes), ("TOWERS", plan.towers)):
        layers = (name, f"{name}-NOT-YET")
        points = shapely.force_2d(found[found["Layer"].isin(layers)].geometry.array)
        there = shapely.get_coordinates(points) * metres
        wanted = np.array([UTM_32(lon, lat) for lon, lat in table[["lon", "lat"]].to_numpy().tolist()])
        assert len(there) == len(wanted)
        near = np.hypot(*(there[:, None] - wanted[None]).T)
        assert near.min(axis=0).max() < 0.001
        assert near.min(axis=1).max() < 0.001
    line = found[found["Layer"] == "LINE"]
    assert len(line) == len(plan.spans)


def test_leads_run_from_tower_to_stake(plan, tmp_path) -> None:
    drawing_of(plan, tmp_path)
    found = by_gdal(tmp_path / "stakes.dxf")
    leads = found[found["Layer"].str.startswith("LEADS-")]
    assert len(leads) == len(plan.leads)
    lengths = np.sort(leads.geometry.length.to_numpy())
    assert np.allclose(lengths, np.sort(plan.electrodes["distance_m"]), rtol=5e-4)  # the grid's scale
    counts = leads["Layer"].value_counts()
    unknown = (plan.leads["lead_level"] == "unknown").sum()
    assert counts["LEADS-UNKNOWN"] == unknown > 0


@pytest.mark.first(1)
@pytest.mark.parametrize("towers", [2, 20])
def test_clean_under_audit(make_plan, tmp_path, towers) -> None:
    drawing = drawing_of(make_plan(towers), tmp_path)
    auditor = drawing.audit()
    assert (auditor.errors, auditor.fixes) == ([], [])
    _, found = recover.readfile(str(tmp_path / "stakes.dxf"))  # the reader for damaged files finds nothing to repair
    assert (found.errors, found.fixes) == ([], [])


def test_h_and_s_differ_by_shape_and_carry_attributes(plan, tmp_path) -> None:
    drawing = drawing_of(plan, tmp_path)
    shapes = {name: [entity.dxftype() for entity in drawing.blocks[name]] for name in ("STAKE_H", "STAKE_S", "TOWER")}
    drawn = [tuple(kind for kind in kinds if kind != "ATTDEF") for kinds in shapes.values()]
    assert len(set(drawn)) == 3
    inserts = {
        tuple(value.dxf.text for value in insert.attribs if value.dxf.tag in ("WAYPOINT",)): insert
        for insert in drawing.modelspace().query("INSERT")
    }
    for stake in plan.electrodes.itertuples():
        insert = inserts[(stake.waypoint,)]
        assert insert.dxf.name == f"STAKE_{stake.role}"
        values = {value.dxf.tag: value.dxf.text for value in insert.attribs}
        assert values["STATUS"] == stake.status
        assert values["TOWER"] == dxf_text(stake.tower_id)
        assert values["SET_OUT"].startswith(f"from leg ahead right: {stake.set_out_ground_m:.1f} m on the ground")
        calm = stake.status in ("all rules met", "take care", "compromise")
        assert insert.dxf.layer == ("STAKES" if calm else "STAKES-NOT-YET")
        known = not math.isnan(stake.elevation_m)
        assert values["ELEVATION_M"] == (f"{stake.elevation_m:.2f}" if known else "unknown")
        assert all(value.is_invisible for value in insert.attribs)


def test_status_is_written_beside_what_is_not_settled(plan, tmp_path) -> None:
    texts = [text.dxf.text for text in drawing_of(plan, tmp_path).modelspace().query("TEXT[layer=='TEXT']")]
    for status in ("needs agreement", "map does not cover", "no layout"):
        assert texts.count(status) == (plan.towers["status"] == status).sum() > 0
        stakes = (plan.electrodes["status"] == status).sum()
        assert texts.count(f"DO NOT STAKE YET: {status}") == stakes
        assert stakes > 0 or status == "no layout"
    counted = (plan.towers["status"] == "compromise").sum() + (plan.electrodes["status"] == "compromise").sum()
    assert texts.count("compromise") == counted > 0
    assert "all rules met" not in texts


def test_hostile_names_are_text_and_nothing_else(make_plan, hostile_texts, tmp_path) -> None:
    codes = (
        r"\P\U+0041{\fArial|b1;x}",
        "%%c%%u100%%%",
        "a^Jb^M",
        "%<\\AcVar Date>%",
        "line\nbreak\r\n 0\nEOF\n",
        "x" * 5000,
    )
    hostile = (*hostile_texts, *codes)
    plan = make_plan(len(hostile) + 2)
    names = ["first", *hostile, "last"]
    rename = dict(zip(plan.towers["tower_id"], names, strict=True))
    tables = {name: getattr(plan, name).assign(tower_id=getattr(plan, name)["tower_id"].map(rename))
              for name in ("towers", "electrodes", "leads")}  # fmt: skip
    obstacles = plan.obstacles.assign(name=[hostile[row % len(hostile)] for row in range(len(plan.obstacles))])
    drawing = drawing_of(dataclasses.replace(plan, obstacles=obstacles, **tables), tmp_path)
    assert drawing.audit().errors == []
    space = drawing.modelspace()
    texts = [entity.dxf.text for entity in space.query("TEXT")]
    texts += [value.dxf.text for insert in space.query("INSERT") for value in insert.attribs]
    assert len(texts) > 100
    for text in texts:
        assert not re.search(r"[\x00-\x1f\x7f-\x9f\u2028\u202e\\^{}]|%[%<]", text)
        assert len(text) <= 250
        assert ezdxf.tools.text.plain_text(text) == text  # no code is left that ezdxf would run
    assert "Башня 12 鉄塔 🗼" in texts
    assert all(GOOD_LAYER(layer.dxf.name) for layer in drawing.layers if layer.dxf.name not in ("0", "Defpoints"))
    found = by_gdal(tmp_path / "stakes.dxf")
    assert found["Layer"].isin(["STAKES", "STAKES-NOT-YET"]).sum() == len(plan.electrodes)
    assert "Башня 12 鉄塔 🗼" in set(found["Text"])


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("%%c 30", "% %c 30"),
        ("100%%%", "100% % %"),
        ("50 %", "50 %"),
        (r"a\Pb", "a/Pb"),
        ("a^J", "a~J"),
        ("{x}", "(x)"),
        ("a\nb\x00c", "a b c"),
        (None, ""),
    ],
)
def test_texts(text, shown) -> None:
    assert dxf_text(text) == shown


def test_layer_names() -> None:
    assert layer_name("keep_outs", "power_line") == "KEEP_OUTS-POWER_LINE"
    assert GOOD_LAYER(layer_name("obstacles", 'a<>/\\":;?*|=`,b Башня'))


def test_a_layer_for_each_class(plan, tmp_path) -> None:
    drawing = drawing_of(plan, tmp_path)
    layers = {entity.dxf.layer for entity in drawing.modelspace()}
    kept = plan.obstacles.loc[plan.obstacles["stake"] == "no", "obstacle_class"]
    assert {layer_name("keep_outs", name) for name in kept} <= layers
    assert {layer_name("obstacles", name) for name in plan.obstacles["obstacle_class"]} <= layers


@pytest.mark.parametrize(("crs", "metres"), [(crs, metres) for crs, *_, metres in UNITS] + [("EPSG:3857", 1.0)])
def test_keep_outs_are_never_too_small(plan, crs, metres) -> None:
    """Points at the rule's distance, laid out by geodesics, lie within; those 0.3 m farther do not."""
    plan = dataclasses.replace(plan, grid_crs=crs)
    lone = plan.obstacles[plan.obstacles["obstacle_class"] == "railway"].iloc[:1]
    plan = dataclasses.replace(plan, obstacles=lone)
    grid = grid_of(plan)
    area = keep_outs(plan, grid, near_the_line(plan, grid))["railway"]
    distance_m = float(lone["width_m"].iloc[0] / 2 + lone["keep_out_m"].iloc[0])
    end, before = (np.array(lone.geometry.iloc[0].coords[place]) for place in (-1, -2))
    geod = pyproj.Geod(ellps="WGS84")
    ahead, _, _ = geod.inv(*before, *end)
    bearings = ahead + np.linspace(-80, 80, 41)  # round the end of the line
    full = np.full(41, 1.0)

    def inside(metres_away: float):
        lon, lat, _ = geod.fwd(end[0] * full, end[1] * full, bearings, metres_away * full)
        return shapely.contains_xy(area, *grid.positions(np.column_stack((lon, lat))).T)

    assert inside(distance_m).all()
    assert not inside(distance_m + 0.3).any()


def test_planned_spans_have_their_keep_out(plan) -> None:
    grid = grid_of(plan)
    area = keep_outs(plan, grid, near_the_line(plan, grid))["power_line"]
    lead = plan.electrodes[plan.electrodes["distance_to_line_m"] > 60]
    beyond = grid.positions(lead[["lon", "lat"]])
    assert shapely.contains_xy(area, *grid.positions(plan.towers[["lon", "lat"]]).T).all()
    assert not shapely.contains_xy(area, *beyond.T).all()


def test_far_features_are_cut(plan) -> None:
    """A line 500 km long comes as the piece beside the towers."""
    place = plan.towers.geometry.iloc[0]
    river = plan.obstacles[plan.obstacles["obstacle_class"] == "river_canal"].iloc[:1]
    river = river.set_geometry([shapely.LineString([(place.x, place.y - 2), (place.x, place.y + 2)])], crs=4326)
    plan = dataclasses.replace(plan, obstacles=river)
    grid = grid_of(plan)
    (cut,) = near_the_line(plan, grid)
    assert 300 < cut.length < 1000
    away = river.set_geometry(shapely.transform(river.geometry.array, lambda xy: xy + np.array([1.0, 0.0])), crs=4326)
    assert list(near_the_line(dataclasses.replace(plan, obstacles=away), grid)) == [None]


@pytest.mark.long
def test_same_plan_same_bytes_in_every_process(make_plan, tmp_path) -> None:
    """Dates, identifiers and the order of sets are all fixed."""
    first = write_dxf(make_plan(4), tmp_path)[0].read_bytes()
    script = (
        "import sys, types\n"
        "from pathlib import Path\n"
        "package = sys.modules['factory'] = types.ModuleType('factory')\n"
        "package.__path__ = [sys.argv[1]]\n"
        "from factory.conftest import build_plan\n"
        "from layoutplan.outputs.dxf import write_dxf\n"
        "write_dxf(build_plan(4), Path(sys.argv[2]))\n"
    )
    for seed in ("1", "4"):  # these two order ezdxf's sets differently
        out = tmp_path / seed
        out.mkdir()
        env = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "PYTHONPATH": str(Path(dxf.__file__).parents[3]),
            "TZ": "Asia/Tokyo",
        }
        command = [sys.executable, "-B", "-c", script, str(Path(__file__).parent), str(out)]
        subprocess.run(command, env=env, check=True, timeout=120)
        assert (out / "stakes.dxf").read_bytes() == first


def test_the_clock_is_put_back(plan, tmp_path) -> None:
    write_dxf(plan, tmp_path)
    assert not ezdxf.options.write_fixed_meta_data_for_testing


def test_side_car(plan, tmp_path) -> None:
    notes = write_dxf(plan, tmp_path)[1].read_text("utf-8")
    assert "EPSG:32632 WGS 84 / UTM zone 32N" in notes
    assert "The drawing is flat" in notes
    assert "nothing is clear" in notes
    assert "Local codes, the asset owner's rules and licensed practice take precedence" in notes


@pytest.mark.long
def test_a_unit_without_code(plan, tmp_path) -> None:
    crs = "+proj=utm +zone=32 +datum=WGS84 +units=yd"
    drawing = drawing_of(dataclasses.replace(plan, grid_crs=crs), tmp_path)
    assert drawing.header["$INSUNITS"] == 0
    assert "DXF has no code for this unit" in (tmp_path / "stakes_dxf.txt").read_text("utf-8")


def test_empty_plan(empty_plan, tmp_path) -> None:
    drawing = drawing_of(empty_plan, tmp_path)
    assert drawing.audit().errors == []
    assert len(drawing.modelspace().query("INSERT")) == 2
