from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from gpxpy.gpx import GPX, GPXTrack, GPXWaypoint
from shapely import LineString, MultiPoint, Point

from layoutplan.errors import ColumnError, CRSError, InputError, LayerError
from layoutplan.inputs.staked import Staked, read_staked
from layoutplan.inputs.staked_gpx import MOST_WAYPOINTS
from layoutplan.inputs.staked_readings import READING_COLUMNS, read_readings, times

Write = Callable[..., Path]
ROOT = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
TWO = (
    '<wpt lat="49.1" lon="8.2"><ele>312.5</ele><time>2026-04-13T08:00:00Z</time><name>012-H</name></wpt>'
    '<wpt lat="-33.5" lon="-70.25"><name> 012-S </name><hdop>1.4</hdop></wpt>'
)


def gpx(body: str = TWO, root: str = ROOT) -> str:
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}{body}</gpx>'


def lonlat(staked: Staked) -> list[list[float]]:
    return shapely.get_coordinates(staked.points.geometry).tolist()


@pytest.fixture
def read_gpx(towers_csv: Write) -> Callable[..., Staked]:
    return lambda text, **keys: read_staked(towers_csv(text, "s.gpx"), **keys)


# ---- GPX


@pytest.mark.parametrize(
    "root",
    [
        ROOT,
        '<gpx version="1.0" creator="x" xmlns="http://www.topografix.com/GPX/1/0">',
        '<gpx version="1.1" creator="no namespace">',
    ],
)
def test_waypoints(read_gpx: Callable[..., Staked], root: str) -> None:
    staked = read_gpx(gpx(root=root))
    points = staked.points
    assert points.crs == "EPSG:4326"
    assert lonlat(staked) == [[8.2, 49.1], [-70.25, -33.5]]
    assert points["name"].tolist() == ["012-H", "012-S"]
    assert points["elevation_m"].tolist() == pytest.approx([312.5, np.nan], nan_ok=True)
    assert points["time"].tolist() == [pd.Timestamp("2026-04-13T08:00Z"), pd.NaT]
    assert points["row"].tolist() == [1, 2]
    assert points["duplicate"].tolist() == [False, False]
    assert (staked.source, staked.problems) == ("s.gpx", ())


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_what_another_library_wrote(tmp_path: Path, version: str) -> None:
    written = GPX()
    moment = datetime(2026, 4, 13, 8, 30, tzinfo=UTC)
    written.waypoints = [
        GPXWaypoint(47.1234567, 8.7654321, 512.25, moment, "Å & <H>", horizontal_dilution=0.9),
        GPXWaypoint(-90.0, -180.0, name="pole"),
    ]
    written.tracks = [GPXTrack("lead")]
    path = tmp_path / "s.GPX"
    path.write_text(written.to_xml(version=version), "utf-8")
    staked = read_staked(path)
    points = staked.points
    assert lonlat(staked) == [[8.7654321, 47.1234567], [-180.0, -90.0]]
    assert points["name"].tolist() == ["Å & <H>", "pole"]
    assert points["time"].tolist() == [pd.Timestamp(moment), pd.NaT]
    assert points["elevation_m"].iloc[0] == 512.25
    assert points["accuracy_m"].iloc[0] == 4.5
    assert staked.problems == ("s.GPX: 1 track ignored: only waypoints are read",)


def test_unknown_version_is_said(read_gpx: Callable[..., Staked]) -> None:
    assert read_gpx(gpx(root='<gpx version="2">')).problems == ("s.gpx: GPX version '2' is not known; read like 1.1",)


def test_prefixed_elements_are_the_same(read_gpx: Callable[..., Staked]) -> None:
    root = '<g:gpx version="1.1" xmlns:g="http://www.topografix.com/GPX/1/1">'
    assert read_gpx(root + '<g:wpt lat="1" lon="2"><g:name>A</g:name></g:wpt></g:gpx>').points["name"].tolist() == ["A"]


def test_dilution_becomes_an_accuracy_and_that_is_said(read_gpx: Callable[..., Staked]) -> None:
    staked = read_gpx(gpx())
    assert staked.points["accuracy_m"].tolist() == pytest.approx([np.nan, 7.0], nan_ok=True)
    assert staked.assumptions == (
        "s.gpx: accuracy of 1 point taken as hdop × 5 m (judgement, common rule of thumb, no source)",
    )


@pytest.mark.parametrize("tag", ["accuracy", "x:hAcc", "HorizontalAccuracy", "HACC"])
def test_metres_in_an_extension_beat_the_dilution(read_gpx: Callable[..., Staked], tag: str) -> None:
    body = (
        '<wpt lat="1" lon="2"><hdop>3</hdop><extensions xmlns:x="http://example.org"><x:fix>'
        f"<{tag}>0.85</{tag}></x:fix></extensions></wpt>"
    )
    staked = read_gpx(gpx(body))
    assert staked.points["accuracy_m"].tolist() == [0.85]
    assert staked.assumptions == ()


@pytest.mark.parametrize("value", ["-1", "good", "1,5", "nan", "inf", "1_0"])
def test_accuracy_that_is_none_stays_unknown(read_gpx: Callable[..., Staked], value: str) -> None:
    body = f'<wpt lat="1" lon="2"/><wpt lat="1" lon="3"><extensions><accuracy>{value}</accuracy></extensions></wpt>'
    staked = read_gpx(gpx(body))
    assert staked.points["accuracy_m"].isna().all()
    assert "s.gpx, waypoint 2: elevation, accuracy or hdop is no number it can be: unknown" in staked.problems


def test_accuracy_of_zero_is_unknown(read_gpx: Callable[..., Staked]) -> None:
    staked = read_gpx(gpx('<wpt lat="1" lon="2"><name>A</name><hdop>0</hdop></wpt>'))
    assert staked.points["accuracy_m"].isna().all()
    assert staked.problems == ("s.gpx, waypoint 1: an accuracy of 0: no receiver has that; unknown",)


def test_tracks_and_routes_are_ignored_and_that_is_said(read_gpx: Callable[..., Staked]) -> None:
    track = '<trk><name>t</name><trkseg><trkpt lat="bad" lon="8"><name>x</name></trkpt></trkseg></trk>'
    route = '<rte><rtept lat="47" lon="8"><name>y</name></rtept></rte>'
    staked = read_gpx(gpx(TWO + track + route + track))
    assert len(staked.points) == 2
    assert staked.problems == ("s.gpx: 2 tracks and 1 route ignored: only waypoints are read",)
    with pytest.raises(LayerError, match=r"no waypoints \(1 track found; only waypoints are read\)"):
        read_gpx(gpx(track))


def test_a_waypoint_inside_an_extension_is_none(read_gpx: Callable[..., Staked]) -> None:
    body = '<wpt lat="1" lon="2"><name>A</name><extensions><wpt lat="5" lon="6"><name>B</name></wpt></extensions></wpt>'
    staked = read_gpx(gpx(body))
    assert staked.points["name"].tolist() == ["A"]


def test_names_are_cleaned(read_gpx: Callable[..., Staked]) -> None:
    body = '<wpt lat="1" lon="2"><name><![CDATA[ <b>0&12</b>\n]]>-&lt;H&#x202E;</name></wpt><wpt lat="1" lon="2"/>'
    staked = read_gpx(gpx(body))
    assert staked.points["name"].tolist() == ["<b>0&12</b> -<H", ""]
    assert staked.problems == ("s.gpx: 1 point of 2 without a name: can be matched by place only",)


def test_a_name_in_pieces_is_one_name(read_gpx: Callable[..., Staked]) -> None:
    body = '<wpt lat="1" lon="2"><name>0<b>12</b>-H</name><name>other</name><link><name>page</name></link></wpt>'
    assert read_gpx(gpx(body)).points["name"].tolist() == ["012-H"]


def test_one_name_twice_is_said_with_the_rows(read_gpx: Callable[..., Staked]) -> None:
    names = ["A", "b", "a", "B ", "c", "", ""]
    staked = read_gpx(gpx("".join(f'<wpt lat="1" lon="2"><name>{name}</name></wpt>' for name in names)))
    assert staked.points["duplicate"].tolist() == [True, True, True, True, False, False, False]
    assert staked.problems[-1] == (
        "s.gpx: staked more than once under one name: 'a' (waypoint 1, 3), 'b' (waypoint 2, 4)"
    )


@pytest.mark.parametrize(
    ("place", "found"),
    [
        ('lat="91" lon="8"', "lat 91, lon 8"),
        ('lat="49" lon="180.5"', "lat 49, lon 180.5"),
        ('lat="49"', "lat 49, lon missing or no number"),
        ("", "lat missing or no number, lon missing or no number"),
        ('lat="49,1" lon="8"', "lat missing or no number, lon 8"),
        ('lat="nan" lon="8"', "lat missing or no number"),
        ('lat="1e999" lon="8"', "lat missing or no number"),
    ],
)
def test_unusable_coordinates_are_named_and_none_is_dropped(
    read_gpx: Callable[..., Staked], place: str, found: str
) -> None:
    good = '<wpt lat="1" lon="2"/>'
    with pytest.raises(InputError, match=f"s.gpx, waypoint 2, 4: no latitude within ±90 .*{found}"):
        read_gpx(gpx(good + f"<wpt {place}/>" + good + f"<wpt {place}/>"))


@pytest.mark.parametrize(
    "encoded",
    [
        gpx().replace("UTF-8", "UTF-16").encode("utf-16"),
        gpx().replace("UTF-8", "UTF-16").encode("utf-16-be"),
        b"\xef\xbb\xbf" + gpx().encode(),
        gpx().replace("UTF-8", "ISO-8859-1").replace("012-H", "Mühle").encode("latin-1"),
    ],
    ids=["utf-16 with mark", "utf-16-be", "utf-8 with mark", "latin-1"],
)
def test_encodings(read_gpx: Callable[..., Staked], encoded: bytes) -> None:
    assert read_gpx(encoded).points["name"].tolist() in (["012-H", "012-S"], ["Mühle", "012-S"])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "s.gpx: the file is empty"),
        (gpx()[:-20], r"s.gpx, line 2: broken XML \("),
        (gpx("<wpt></gpx>"), r"line 2: broken XML \(mismatched tag\)"),
        ("tower_id,lon,lat\n1,8,49\n", r"line 1: broken XML \("),
        (gpx().encode("utf-8").replace(b"012-H", b"M\xfchle"), r"line 2: broken XML \(not well-formed"),
        (gpx().replace("UTF-8", "no-such-code"), r"s.gpx(, line \d)?: (cannot be decoded|broken XML)"),
        ("<kml><wpt lat='1' lon='2'/></kml>", "line 1: the outermost element is 'kml', not 'gpx'"),
        (gpx("<wpt lat='1' lon='2'>" + "<a>" * 70), "elements nested more than 64 deep"),
        (gpx(f"<wpt lat='1' lon='2'><name>{'x' * 5000}</name></wpt>"), "a name of more than 1,000 characters"),
        (gpx(f"<wpt lat='1' lon='2' note='{'x' * 3_000_000}'/>"), "a tag or comment of more than a megabyte"),
        (gpx(f"<!-- {'x' * 3_000_000} -->"), "a tag or comment of more than a megabyte"),
        (gpx(""), "no waypoints. Export the staked points as waypoints"),
        (gpx("<wpt lat='1' lon='2'/>" * (MOST_WAYPOINTS + 1)), "more than 200,000 waypoints. Export the staked"),
    ],
    ids=range(13),
)  # fmt: skip
def test_broken_files(read_gpx: Callable[..., Staked], text: str | bytes, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_gpx(text)


def test_no_such_file(tmp_path: Path) -> None:
    for name in ("none.gpx", "none.csv", "none.gpkg"):
        with pytest.raises(InputError, match=f"{name}: no such file"):
            read_staked(tmp_path / name)


LAUGHS = '<!ENTITY a "ha">' + "".join(f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9))


@pytest.mark.parametrize(
    "doctype",
    [
        f"<!DOCTYPE gpx [{LAUGHS}]>",
        '<!DOCTYPE gpx [<!ENTITY x SYSTEM "secret.txt">]>',
        '<!DOCTYPE gpx SYSTEM "http://localhost/gpx.dtd">',
        "<!DOCTYPE gpx>",
    ],
    ids=["billion laughs", "external entity", "external declaration", "bare"],
)
def test_document_types_are_refused(read_gpx: Callable[..., Staked], tmp_path: Path, doctype: str) -> None:
    (tmp_path / "secret.txt").write_text("secret")
    body = '<wpt lat="1" lon="2"><name>&x;&j;</name></wpt>'
    with pytest.raises(InputError, match=r"s.gpx, line 2: a document type declaration \(<!DOCTYPE\)") as caught:
        read_gpx(gpx(body).replace("<gpx", doctype + "<gpx"))
    assert "secret\n" not in str(caught.value)


def test_undeclared_entity(read_gpx: Callable[..., Staked]) -> None:
    with pytest.raises(InputError, match=r"broken XML \("):
        read_gpx(gpx('<wpt lat="1" lon="2"><name>&x;</name></wpt>'))


def test_gpx_needs_no_system(read_gpx: Callable[..., Staked]) -> None:
    assert len(read_gpx(gpx(), crs="EPSG:4326").points) == 2
    with pytest.raises(CRSError, match=r"crs = 'EPSG:25832', but GPX is WGS 84 by its definition"):
        read_gpx(gpx(), crs="EPSG:25832")


def test_times_that_cannot_be_read_are_said(read_gpx: Callable[..., Staked]) -> None:
    texts = ["yesterday", "2026-04-13T10:00:00+02:00", "2026-04-13T09:00:00", ""]
    body = "".join(f'<wpt lat="1" lon="2"><name>{i}</name><time>{t}</time></wpt>' for i, t in enumerate(texts))
    staked = read_gpx(gpx(body))
    eight, nine = pd.Timestamp("2026-04-13T08:00Z"), pd.Timestamp("2026-04-13T09:00Z")
    assert staked.points["time"].tolist() == [pd.NaT, eight, nine, pd.NaT]
    assert staked.problems == ("s.gpx, waypoint 1, field 'time': 'yesterday' is no ISO 8601 time: unknown",)
    assert staked.assumptions == ("s.gpx: 1 time without zone taken as UTC",)


@pytest.mark.long
def test_sixty_megabytes_take_no_more_memory_than_their_points(tmp_path: Path) -> None:
    path = tmp_path / "large.gpx"
    n, note = 5_000, "x" * 5_000
    point = f'<trkpt lat="47.1" lon="8.1"><time>2026-04-13T08:00:00Z</time><cmt>{note[:400]}</cmt></trkpt>\n'
    with path.open("w") as stream:
        stream.write(ROOT)
        for i in range(n):
            stream.write(f'<wpt lat="{i / 1000}" lon="8"><name>{i}-H</name><desc>{note}</desc><hdop>1</hdop></wpt>\n')
        stream.write("<trk><trkseg>" + point * 80_000 + "</trkseg></trk></gpx>")
    assert path.stat().st_size > 60e6
    tracemalloc.start()
    staked = read_staked(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(staked.points) == n
    assert staked.points["name"].iloc[-1] == "4999-H"
    assert peak < 12e6  # a fifth of the file


@pytest.mark.parametrize(
    ("start", "end"),
    [("<wpt lat='1' lon='2' note='", "'/>"), ("<!--", "-->"), ("<wpt lat='1' lon='2'><name>", "</name></wpt>")],
    ids=["attribute", "comment", "name"],
)
def test_no_single_piece_fills_the_memory(tmp_path: Path, start: str, end: str) -> None:
    path = tmp_path / "long.gpx"
    with path.open("w") as stream:
        stream.write(ROOT + start)
        for _ in range(30):
            stream.write("x" * 1_000_000)
        stream.write(end + "</gpx>")
    tracemalloc.start()
    with pytest.raises(InputError, match=r"(more than a megabyte|more than 1,000 characters)"):
        read_staked(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 8e6


# ---- tables


@pytest.mark.parametrize(
    "text",
    [
        "name,lon,lat\n012-H,8.5,49\n012-S,8.6,49\n",
        "\ufeffWaypoint;Longitude;Latitude\r\n012-H;8,5;49\r\n012-S;8,6;49\r\n",
        "lat\tlon\tname\twaypoint\n49\t8.5\tx\t012-H\n49\t8.6\ty\t012-S\n",
    ],
    ids=["comma", "semicolon and decimal comma", "tab, waypoint before name"],
)
def test_table_in_degrees(towers_csv: Write, text: str) -> None:
    staked = read_staked(towers_csv(text, "s.csv"))
    assert lonlat(staked) == [[8.5, 49.0], [8.6, 49.0]]
    assert staked.points["name"].tolist() == ["012-H", "012-S"]
    assert staked.points["row"].tolist() == [2, 3]
    assert staked.points["accuracy_m"].isna().all()
    assert staked.points["time"].isna().all()


@pytest.mark.parametrize("more", ["", ",lon,lat"], ids=["grid only", "degrees beside it"])
def test_table_in_metres(towers_csv: Write, more: str) -> None:
    text = f"name,easting,northing{more}\na,500000,0{',1,1' if more else ''}\n"
    # UTM by definition: 500 km on the central meridian, 9° E in zone 32
    staked = read_staked(towers_csv(text, "s.csv"), crs="EPSG:32632")
    assert lonlat(staked)[0] == pytest.approx([9.0, 0.0], abs=1e-9)


def test_other_columns(towers_csv: Write) -> None:
    text = (
        "name,lon,lat,accuracy_m,hdop,time,elevation_m,electrode_h_ohm,Voltage_S_V,remark\n"
        "a,8,49,2.5,1,2026-04-13 08:00:00Z,410,850,,wet\nb,8,49,,3,,,,1.25,\nc,8,49,,,,,,,\n"
    )
    staked = read_staked(towers_csv(text, "s.csv"))
    assert staked.points["accuracy_m"].tolist() == pytest.approx([2.5, 15, np.nan], nan_ok=True)
    assert staked.points["elevation_m"].tolist() == pytest.approx([410, np.nan, np.nan], nan_ok=True)
    assert staked.points["time"].iloc[0] == pd.Timestamp("2026-04-13T08:00Z")
    assert staked.points["electrode_h_ohm"].tolist() == pytest.approx([850, np.nan, np.nan], nan_ok=True)
    assert staked.points["voltage_s_v"].tolist() == pytest.approx([np.nan, 1.25, np.nan], nan_ok=True)
    assert "remark" not in staked.points
    assert "leakage_total_a" not in staked.points


@pytest.mark.parametrize(
    ("text", "keys", "error", "message"),
    [
        ("name,a,b\nx,8,49\n", {}, ColumnError, "no coordinate columns found among: name, a, b. Name them lon and lat"),
        ("name,x,y\nx,8,49\n", {}, CRSError, r"'x' and 'y' without a coordinate reference system. Give it \(crs\)"),
        ("name,lon,lat\nx,8,49\n", {"crs": "EPSG:32632"}, ColumnError, "Name them easting and northing"),
        ("name,lon,lat\nx,8,49\n", {"crs": "EPSG:0"}, CRSError, "crs = 'EPSG:0' is no known coordinate reference"),
        ("name,lon,lat\nx,49.1,98\ny,8,49\n", {}, CRSError, "row 2: 'lon' 49.1, 'lat' 98 are no longitude and"),
        ("name,lon,lat\nx,,49\ny,8,49\nz,8, \n", {}, ColumnError, "row 2, 4: no 'lon' or no 'lat'"),
        ("name,lon,lat\nx,8,49\ny,abc,49\n", {}, ColumnError, "row 3, field 'lon': 'abc' is no number"),
        ("name,lon,lat\nx,8,inf\n", {}, ColumnError, "row 2, field 'lat': 'inf' is no number"),
        ("name,lon,lat,accuracy\nx,8,49,-2\n", {}, ColumnError, "row 2, field 'accuracy': '-2' is no number from 0 up"),
        ("name,lon,lat,voltage_h_v\nx,8,49,5 V\n", {}, ColumnError, "field 'voltage_h_v': '5 V' is no number from 0"),
        ("name,Name,lon,lat\nx,x,8,49\n", {}, ColumnError, "two columns are called 'name', capitals apart"),
        ("name,easting,northing\nx,1e30,1e30\n", {"crs": "EPSG:32632"}, InputError, "row 2: no coordinates, or none"),
        ("name,lon,lat\n", {}, LayerError, "no rows below the header"),
    ],
)  # fmt: skip
def test_bad_tables(towers_csv: Write, text: str, keys: dict[str, str], error: type[Exception], message: str) -> None:
    with pytest.raises(error, match=message):
        read_staked(towers_csv(text, "s.csv"), **keys)


# ---- vector layers


@pytest.mark.parametrize("name", ["s.gpkg", "s.geojson", "s.shp", "s.fgb"])
def test_vector_layers(layer_file: Write, name: str) -> None:
    path = layer_file([Point(8.5, 49), Point(8.6, 49)], name, Name=["012-H", "012-S"], accuracy=[1.5, None])
    staked = read_staked(path)
    assert sorted(zip(staked.points["name"], lonlat(staked), strict=True)) == [
        ("012-H", [8.5, 49]),
        ("012-S", [8.6, 49]),
    ]
    accuracy = dict(zip(staked.points["name"], staked.points["accuracy_m"], strict=True))
    assert accuracy["012-H"] == 1.5
    assert np.isnan(accuracy["012-S"])


def test_layer_in_metres_with_height_times_and_readings(layer_file: Write) -> None:
    path = layer_file(
        [Point(500_000, 0, 350)],
        crs="EPSG:32632",
        waypoint=[12.0],
        hdop=[2.0],
        time=pd.to_datetime(["2026-04-13T08:00:00Z"]),
        tower_resistance_ohm=[7.5],
    )
    staked = read_staked(path)
    assert lonlat(staked)[0] == pytest.approx([9.0, 0.0], abs=1e-9)
    row = staked.points.iloc[0]
    assert (row["name"], row["accuracy_m"], row["tower_resistance_ohm"]) == ("12", 10.0, 7.5)
    assert row["time"] == pd.Timestamp("2026-04-13T08:00Z")


def test_several_layers(layer_file: Write) -> None:
    layer_file([Point(8, 49)], layer="first", Name=["a"])
    path = layer_file([Point(9, 49)], layer="second", Name=["b"])
    assert read_staked(path, layer="second").points["name"].tolist() == ["b"]
    with pytest.raises(LayerError, match="several layers: first, second"):
        read_staked(path)


def test_layer_without_system(layer_file: Write) -> None:
    path = layer_file([Point(500_000, 0)], "s.shp", crs=None, Name=["a"])
    with pytest.raises(CRSError, match=r"s.shp: no coordinate reference system. Give it \(crs\)"):
        read_staked(path)
    assert lonlat(read_staked(path, crs="EPSG:32632"))[0] == pytest.approx([9.0, 0.0], abs=1e-9)


def test_layers_of_something_else(layer_file: Write, towers_csv: Write) -> None:
    with pytest.raises(LayerError, match=r"feature .*: LineString where a staked point was expected"):
        read_staked(layer_file([LineString([(8, 49), (9, 49)])], "l.gpkg", Name=["a"]))
    with pytest.raises(LayerError, match="MultiPoint where a staked point was expected"):
        read_staked(layer_file([MultiPoint([(8, 49), (9, 49)])], "m.gpkg", Name=["a"]))
    assert len(read_staked(layer_file([MultiPoint([(8, 49)])], "one.gpkg", Name=["a"])).points) == 1
    with pytest.raises(InputError, match=r"layer 'p', feature 2: no coordinates"):
        read_staked(layer_file([Point(8, 49), None], "p.gpkg", Name=["a", "b"]))
    with pytest.raises(InputError, match="cannot be read as a vector file"):
        read_staked(towers_csv("nothing", "s.gpkg"))


def test_layer_without_names_is_for_places_only(layer_file: Write) -> None:
    staked = read_staked(layer_file([Point(8, 49)], "s.gpkg", remark=["a"]))
    assert staked.points["name"].tolist() == [""]
    assert staked.problems == ("s.gpkg, layer 's': 1 point of 1 without a name: can be matched by place only",)


# ---- readings


def test_readings(towers_csv: Write) -> None:
    text = (
        "tower_id;line_id;electrode_h_ohm;Leakage_Leg3_A;tower_resistance_ohm;date;remark;weather\n"
        "12;A;850,5;0,25;;2026-04-13;x;y\n13;;;;7,2;;;\n"
    )
    readings = read_readings(towers_csv(text, "readings.csv"))
    table = readings.table
    assert set(READING_COLUMNS) <= set(table.columns)
    assert table[["line_id", "tower_id", "row"]].to_numpy().tolist() == [["A", "12", 2], ["", "13", 3]]
    assert table["electrode_h_ohm"].tolist() == pytest.approx([850.5, np.nan], nan_ok=True)
    assert table["leakage_leg3_a"].tolist() == pytest.approx([0.25, np.nan], nan_ok=True)
    assert table["tower_resistance_ohm"].tolist() == pytest.approx([np.nan, 7.2], nan_ok=True)
    assert table["voltage_h_v"].isna().all()
    assert table["date"].tolist() == [pd.Timestamp("2026-04-13T00:00Z"), pd.NaT]
    assert readings.problems == ("readings.csv: columns that are not known and were not read: 'remark', 'weather'",)


def test_table_without_readings_is_said(towers_csv: Write) -> None:
    problems = read_readings(towers_csv("tower_id,electrode_h\n1,3\n", "r.csv")).problems
    assert problems[0] == "r.csv: columns that are not known and were not read: 'electrode_h'"
    assert problems[1].startswith("r.csv: no column of readings; known are electrode_h_ohm, electrode_s_ohm, voltage_h")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("tower,voltage_h_v\n1,2\n", "r.csv: no column 'tower_id'; there are: tower, voltage_h_v"),
        ("tower_id,voltage_h_v\n1,2\n,3\n", "row 3, field 'tower_id': empty"),
        ("tower_id,voltage_h_v\n1,2\n2,3\n1,4\n", "row 2, 4: more than one row for tower '1'. Keep the row that"),
        ("tower_id,voltage_h_v\n1,-2\n2,3\n3,-0.1\n", "row 2, 4, field 'voltage_h_v': '-2' is no number from 0 up"),
        ("tower_id,leakage_leg4_a\n1,much\n", "row 2, field 'leakage_leg4_a': 'much' is no number from 0 up"),
        ("tower_id,tower_resistance_ohm\n1,nan\n", "row 2, field 'tower_resistance_ohm': 'nan' is no number"),
        ("tower_id,voltage_h_v,date\n1,2,13/4/26\n", "row 2, field 'date': '13/4/26' is no date. Write dates as 2026-"),
    ],
)  # fmt: skip
def test_bad_readings(towers_csv: Write, text: str, message: str) -> None:
    with pytest.raises(ColumnError, match=message):
        read_readings(towers_csv(text, "r.csv"))


def test_one_id_in_two_lines_is_no_repeat(towers_csv: Write) -> None:
    readings = read_readings(towers_csv("line_id,tower_id,voltage_h_v\nA,1,2\nB,1,3\n", "r.csv"))
    assert readings.table["voltage_h_v"].tolist() == [2, 3]


def test_readings_come_as_a_table_only(towers_csv: Write, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"r.xlsx: no table of text \(.csv, .tsv, .txt\). Save the readings as 'CSV"):
        read_readings(towers_csv("x", "r.xlsx"))
    with pytest.raises(InputError, match=r"none.csv: no such file"):
        read_readings(tmp_path / "none.csv")


@pytest.mark.parametrize(
    "text", ["0001-01-01T00:00+02:00", "9999-12-31T23:59-05:00", "0000-06-01", "-0001-06-01T09:30Z"]
)
def test_a_time_beyond_the_years_that_can_be_printed_is_unknown(text: str) -> None:
    found = times(pd.Series([text]))
    assert found.isna().all()
    assert times(pd.Series(["0001-06-01T09:30Z", "2024-05-01"])).dt.year.dropna().isin([1, 2024]).all()
