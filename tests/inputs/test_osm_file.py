"""OpenStreetMap files: geometry, areas that do not close, headers, damaged files."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import osmium
import pandas as pd
import pytest
import shapely
from pandas.testing import assert_frame_equal

from layoutplan.errors import InputError
from layoutplan.inputs import osm_objects
from layoutplan.inputs.corridor import Corridor, LongitudeFrame
from layoutplan.inputs.osm_collect import Collector
from layoutplan.inputs.osm_file import OsmExtract, read_osm
from layoutplan.inputs.osm_objects import how_to_sort, objects, ways
from layoutplan.inputs.osm_tags import TagRules
from layoutplan.job import shipped_classes

RULES = TagRules(shipped_classes())
NewFile = Callable[..., Any]


def read(path: Path, **keys: Any) -> OsmExtract:
    return read_osm(path, rules=RULES, lines=True, **keys)


def only(extract: OsmExtract, osm_id: int, kind: str = "way") -> pd.DataFrame:
    things = extract.things
    return things[(things["osm_id"] == osm_id) & (things["kind"] == kind)]


def shape_of(extract: OsmExtract, osm_id: int, kind: str = "way") -> shapely.Geometry:
    (geometry,) = only(extract, osm_id, kind)["geometry"]
    return geometry


def test_lines_areas_and_points(osm_file: NewFile) -> None:
    new = osm_file()
    mast = new.node(8.5, 49, 900, man_made="mast", name="Mast")
    road = new.square(8, 49, 0.001, highway="service")
    plaza = new.square(8.1, 49, 0.001, highway="pedestrian", area="yes")
    house = new.square(8.2, 49, 0.001, building="yes", ref="7")
    ring = new.square(8.3, 49, 0.001, landuse="military", barrier="fence")
    not_area = new.square(8.4, 49, 0.001, leisure="track", area="no")
    extract = read(new.save())
    assert shape_of(extract, mast, "node").equals(shapely.Point(8.5, 49))
    assert shape_of(extract, road).geom_type == "LineString"
    assert shape_of(extract, plaza).area == pytest.approx(1e-6)
    assert shape_of(extract, house).geom_type == "Polygon"
    assert shape_of(extract, not_area).geom_type == "LineString"
    both = only(extract, ring).set_index("obstacle_class")["geometry"]
    assert both["military"].geom_type == "Polygon"
    assert both["fence_wall"].geom_type == "LineString"
    assert only(extract, house)["name"].item() == "7"
    assert only(extract, mast, "node")["name"].item() == "Mast"
    assert (extract.things["flaw"] == "").all()


def test_relation_with_a_hole(osm_file: NewFile) -> None:
    new = osm_file()
    outer, inner = new.square(8, 49, 0.003), new.square(8.001, 49.001, 0.001)
    lake = new.relation([(outer, "outer"), (inner, "inner")], type="multipolygon", natural="water", name="Lake")
    extract = read(new.save())
    area = shape_of(extract, lake, "relation")
    assert area.area == pytest.approx(8e-6)
    assert not area.contains(shapely.Point(8.0015, 49.0015))


def test_fence_around_a_relation_is_its_edge(osm_file: NewFile) -> None:
    new = osm_file()
    outer = new.square(8, 49, 0.003)
    site = new.relation([(outer, "outer")], type="multipolygon", landuse="industrial", barrier="fence")
    by_class = only(read(new.save()), site, "relation").set_index("obstacle_class")["geometry"]
    assert by_class["yard"].area == pytest.approx(9e-6)
    assert by_class["fence_wall"].area == 0


def test_area_with_a_missing_edge_is_not_lost(osm_file: NewFile) -> None:
    new = osm_file()
    closed = new.square(8, 49, 0.001)
    half = new.line([(8.1, 49), (8.1, 49.001), (8.101, 49.001)])
    pond = new.relation([(closed, "outer"), (half, "outer"), (77777, "outer")], type="multipolygon", natural="water")
    found = only(read(new.save()), pond, "relation")
    assert set(found["flaw"]) == {"unbuilt"}
    assert sorted(shape.geom_type for shape in found["geometry"]) == ["LineString", "Polygon"]
    assert shapely.union_all(found["geometry"].to_numpy()).covers(shapely.LineString([(8.1, 49), (8.1, 49.001)]))


def test_edges_are_kept_only_of_areas_that_cannot_be_built(osm_file: NewFile) -> None:
    """Those of all areas of a country would fill the memory; they are read again for the few that need it."""
    new = osm_file()
    whole = [new.square(8 + number / 100, 49, 0.001) for number in range(20)]
    for way in whole:
        new.relation([(way, "outer")], type="multipolygon", natural="water")
    half = new.line([(8.5, 49), (8.5, 49.001), (8.501, 49.001)])
    new.relation([(half, "outer"), (77777, "outer")], type="multipolygon", natural="water")
    path = new.save()
    collector = Collector(RULES, None)
    for thing in objects(path, RULES, lambda: None):
        if thing.is_relation():
            collector.take_relation(thing, dict(thing.tags))
        elif not (thing.is_area() and thing.from_way()):
            collector.take(thing, dict(thing.tags), evidence=False)
    assert collector.edges() == {half, 77777}
    assert [way.id for way in ways(path, collector.edges(), lambda: None)] == [half]


def test_area_that_cannot_be_built_far_away_is_left_out(osm_file: NewFile) -> None:
    new = osm_file()
    ponds = []
    for lon in (8.1, 9.1):
        half = new.line([(lon, 49), (lon, 49.001), (lon + 0.001, 49.001)])
        ponds.append(new.relation([(half, "outer"), (77777, "outer")], type="multipolygon", natural="water"))
    around = np.array([[8.1, 49.0]])
    corridor = Corridor.around(around, 1000.0, LongitudeFrame.around(around))
    assert read(new.save(), corridor=corridor).things["osm_id"].tolist() == ponds[:1]


def test_area_without_any_edge_is_reported(osm_file: NewFile) -> None:
    new = osm_file()
    park = new.relation([(77777, "outer")], type="boundary", boundary="national_park")
    new.relation([(88888, "outer")], type="boundary", boundary="administrative")
    extract = read(new.save())
    assert extract.lost == (f"osm relation {park}",)


def test_area_that_crosses_itself_is_filled(osm_file: NewFile) -> None:
    new = osm_file()
    nodes = [new.node(*place) for place in ((8, 49), (8.002, 49.002), (8.002, 49), (8, 49.002))]
    way = new.way([*nodes, nodes[0]])
    site = new.relation([(way, "outer")], type="multipolygon", landuse="quarry")
    alone = new.way([*nodes, nodes[0]], natural="water")
    extract = read(new.save())
    parts = only(extract, site, "relation")["geometry"].to_numpy()
    assert shapely.area(parts).sum() == pytest.approx(2e-6)
    assert shape_of(extract, alone).geom_type == "Polygon"  # invalid here, repaired with all other layers


def test_classes_written_on_the_edges_of_an_untagged_relation(osm_file: NewFile) -> None:
    new = osm_file()
    a, b, c, d = (new.node(*place) for place in ((8, 49), (8.001, 49), (8.001, 49.001), (8, 49.001)))
    one = new.way([a, b, c], natural="water")
    two = new.way([c, d, a], natural="water")
    old = new.relation([(one, "outer"), (two, "outer")], type="multipolygon")
    extract = read(new.save())
    assert shape_of(extract, old, "relation").area == pytest.approx(1e-6)
    assert set(only(extract, one)["flaw"]) == {""}


def test_area_that_is_not_closed_is_a_line_and_said_so(osm_file: NewFile) -> None:
    new = osm_file()
    way = new.line([(8, 49), (8.001, 49), (8.001, 49.001)], landuse="quarry")
    found = only(read(new.save()), way)
    assert found["flaw"].tolist() == ["open"]
    assert found["geometry"].item().geom_type == "LineString"


def test_way_with_missing_nodes_is_drawn_through_the_others(osm_file: NewFile) -> None:
    new = osm_file()
    start, end = new.node(8, 49), new.node(8.001, 49)
    way = new.way([start, 77777, end], waterway="river")
    stub = new.way([start, 77777, 88888], waterway="stream")
    gone = new.way([77777, 88888], waterway="stream")
    extract = read(new.save())
    assert shape_of(extract, way).equals(shapely.LineString([(8, 49), (8.001, 49)]))
    assert shape_of(extract, stub).equals(shapely.Point(8, 49))
    assert only(extract, gone).empty
    assert extract.lost == (f"osm way {gone}",)
    assert only(extract, way)["flaw"].item() == "incomplete"


def test_deleted_and_untagged_objects_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "m.osm"
    path.write_text(
        '<osm version="0.6"><node id="1" version="1" lat="49" lon="8"/><node id="2" version="1" lat="49" lon="8.1"/>'
        '<way id="3" version="2" visible="false"><nd ref="1"/><nd ref="2"/><tag k="highway" v="primary"/></way>'
        '<way id="4" version="2"><nd ref="1"/><nd ref="2"/></way></osm>'
    )
    extract = read(path)
    assert extract.things.empty
    assert len(extract.evidence) == 0


def test_evidence_is_everything_but_what_is_kept_whole(osm_file: NewFile) -> None:
    new = osm_file()
    new.node(8.001, 49, shop="bakery")
    new.line([(8.002, 49), (8.003, 49)], landuse="meadow")
    new.line([(8.004, 49), (8.005, 49)], power="line")
    new.node(8.006, 49, power="tower")
    new.line([(8.007, 49), (8.008, 49)], boundary="administrative")
    new.line([(8.009, 49), (8.010, 49)])
    new.line([(8.1, 49), (8.2, 49)], highway="track")
    assert sorted(read(new.save()).evidence[:, 0].tolist()) == pytest.approx([8.001, 8.002, 8.003])


def test_header(osm_file: NewFile, tmp_path: Path) -> None:
    header = osmium.io.Header()
    header.add_box(osmium.osm.Box(8, 49, 8.5, 49.5))
    header.set("osmosis_replication_timestamp", "2024-05-01T00:00:00Z")
    path = tmp_path / "m.osm.pbf"
    with osmium.SimpleWriter(str(path), header=header) as writer:
        writer.add_node(osmium.osm.mutable.Node(id=1, version=1, location=(8, 49), tags={"shop": "bakery"}))
    extract = read(path)
    assert extract.box is not None
    assert extract.box.bounds == (8, 49, 8.5, 49.5)
    assert extract.data_date == "2024-05-01T00:00:00Z"
    bare = osm_file("bare.osm")
    assert read(bare.save()).box is None
    assert read(bare.path).data_date is None


@pytest.mark.parametrize("suffix", [".osm.pbf", ".osm.gz", ".osm.bz2"])
def test_other_file_kinds_hold_the_same(osm_file: NewFile, tmp_path: Path, suffix: str) -> None:
    new = osm_file()
    way = new.square(8, 49, 0.001, building="yes")
    plain = read(new.save())
    path = tmp_path / f"m{suffix}"
    with osmium.SimpleWriter(str(path)) as writer:
        for thing in osmium.FileProcessor(str(new.path)):
            writer.add(thing)
    packed = read(path)
    assert shape_of(packed, way).equals(shape_of(plain, way))
    pd.testing.assert_frame_equal(packed.things, plain.things)


@pytest.mark.parametrize("suffix", [".osm.pbf", ".osm.gz", ".osm"])
def test_truncated_files(osm_file: NewFile, tmp_path: Path, suffix: str) -> None:
    new = osm_file()
    rng = np.random.default_rng(3)
    for _ in range(3000):
        new.node(*rng.uniform(8, 9, 2), shop=str(rng.integers(1e9)))
    whole = tmp_path / f"whole{suffix}"
    with osmium.SimpleWriter(str(whole)) as writer:
        for thing in osmium.FileProcessor(str(new.save())):
            writer.add(thing)
    path = tmp_path / f"cut{suffix}"
    path.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    fix = "It is truncated, damaged or of another kind: fetch it again"
    with pytest.raises(InputError, match=rf"cut{suffix}: cannot be read to its end as an OpenStreetMap file .*{fix}"):
        read(path)


@pytest.mark.parametrize(
    "content", [b"PK\x03\x04 something else", b"", b"<osm version='0.6'><node id='1' lat='x' lon='1'/></osm>"]
)
@pytest.mark.parametrize("name", ["m.osm", "m.osm.pbf"])
def test_files_of_another_kind(tmp_path: Path, content: bytes, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError, match=f"{name}: cannot be read to its end"):
        read(path)


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    path = tmp_path / "m.osm.gz"
    text = (
        '<?xml version="1.0"?><!DOCTYPE osm [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><osm version="0.6">'
        '<node id="1" version="1" lat="49" lon="8"><tag k="shop" v="&b;"/></node></osm>'
    )
    path.write_bytes(gzip.compress(text.encode()))
    with pytest.raises(InputError, match=r"m.osm.gz: cannot be read"):
        read(path)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "none.osm.pbf")


def test_signs_of_life(osm_file: NewFile) -> None:
    new = osm_file()
    new.node(8, 49, shop="bakery")
    ticks: list[int] = []
    read(new.save(), tick=lambda: ticks.append(1))
    assert ticks


def test_unsorted_file_says_what_to_do(osm_file: NewFile) -> None:
    new = osm_file()
    new.square(8, 49, 0.001, 12, building="yes")
    new.square(8, 49, 0.001, 11, building="yes")
    with pytest.raises(InputError, match=r"out of order.*Sort it by kind and id.*: osmium sort map\.osm -o map-sorted"):
        read(new.save())


@pytest.mark.parametrize("what", ["map", "lines"])
def test_ways_before_their_nodes_are_refused_not_lost(osm_file: NewFile, what: str) -> None:
    """As servers write them that answer queries; the library gives such ways no place, and says nothing."""
    new = osm_file()
    new.square(8, 49, 0.001, building="yes")
    new.line([(8, 49), (8.1, 49)], 21, power="line")
    path = new.save()
    text = path.read_text("utf-8")
    first = text.index("<way")
    nodes = text.index("<node")
    path.write_text(text[:nodes] + text[first:].replace("</osm>", "") + text[nodes:first] + "</osm>", "utf-8")
    words = r"is not sorted: node \d+ comes after a way .* osmium sort map\.osm -o map-sorted\.osm\.pbf$"
    with pytest.raises(InputError, match=words):
        read(path) if what == "map" else read_osm(path, rules=None, lines=True)


def test_how_to_sort_is_typed_as_it_stands() -> None:
    assert how_to_sort(Path("old/my map.osm.gz")).endswith(": osmium sort 'my map.osm.gz' -o 'my map-sorted.osm.pbf'")


def test_coastlines_keep_their_direction_and_are_cut_where_nodes_are_missing(osm_file: NewFile) -> None:
    """They make no thing by themselves: all of them together divide land and sea."""
    new = osm_file()
    island = new.square(8, 49, 0.01, natural="coastline")
    known = [new.node(9 + x / 100, 49) for x in range(5)]
    new.way([*known[:2], 999_999, *known[2:]], natural="coastline")
    extract = read(new.save())
    assert only(extract, island).empty
    ring, west, east = extract.coastlines
    assert shapely.is_ccw(ring)
    assert (west.coords[0], west.coords[-1], east.coords[0]) == ((9.0, 49.0), (9.01, 49.0), (9.02, 49.0))


def test_the_places_of_a_large_extract_lie_on_the_disk_and_leave_nothing(monkeypatch, tmp_path: Path) -> None:
    """The sample's extract as if it were large: the same things, out of a file that is gone when all is read."""
    path = Path(__file__).parents[2] / "sample_gis" / "valley.osm.pbf"
    rules = TagRules(shipped_classes())
    plain = read_osm(path, rules=rules, lines=True)
    made = []
    create = osmium.index.create_map
    monkeypatch.setattr(osm_objects, "_SMALL", 0)
    monkeypatch.setattr(osmium.index, "create_map", lambda kind: made.append(kind) or create(kind))
    monkeypatch.setattr(osm_objects.tempfile, "tempdir", str(tmp_path))
    found = read_osm(path, rules=rules, lines=True)
    assert made[0].startswith(f"sparse_file_array,{tmp_path}")
    assert list(tmp_path.iterdir()) == []
    assert_frame_equal(pd.DataFrame(found.things), pd.DataFrame(plain.things))
    assert (found.bounds, len(found.power_ways)) == (plain.bounds, len(plain.power_ways))
    monkeypatch.setattr(osm_objects.shutil, "disk_usage", lambda _: SimpleNamespace(free=0))
    made.clear()
    assert len(read_osm(path, rules=rules, lines=True).things) == len(plain.things)
    assert set(made) == {"flex_mem"}, "no room on the disk"
