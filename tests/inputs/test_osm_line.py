from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import shapely

from layoutplan.errors import InputError, LineError
from layoutplan.inputs import Inputs, as_read, read_inputs
from layoutplan.inputs.model import TOWER_COLUMNS, TOWER_FIGURES
from layoutplan.inputs.osm_line import structure_of, tower_ids
from layoutplan.job import Job
from layoutplan.line import build_lines
from layoutplan.siting import build_obstacles

NewFile = Callable[..., Any]


@pytest.fixture
def valley(osm_file: NewFile) -> Any:
    """A line of two ways with a tee, a second line, and a cable."""
    new = osm_file()
    places = [(8 + i / 100, 49) for i in range(6)]
    refs = ["1", "", "3", "3", "seq-9", "6"]
    nodes = [
        new.node(*place, 101 + i, power="tower", **({"ref": ref} if ref else {}))
        for i, (place, ref) in enumerate(zip(places, refs, strict=True))
    ]
    bend = new.node(8.005, 49.0001, 150)
    new.way(nodes[2:], 12, power="line", voltage="110000;20000", name="East - West", ref="L7")
    new.way([nodes[2], nodes[1], bend, nodes[0]], 11, power="line", voltage="110000", name="East - West", ref="L7")
    tee = [new.node(8.03, 49.005 * 1, 201, power="pole"), new.node(8.03, 49.008, 202, power="portal")]
    new.way([nodes[3], *tee], 13, power="minor_line", voltage="20000")
    other = [new.node(8 + i / 100, 49.1, 301 + i, power="tower", structure="tubular") for i in range(3)]
    new.way(other, 21, power="line", voltage="110000", name="North")
    new.line([(8, 48.9), (8.1, 48.9)], 31, power="cable", voltage="110000")
    new.line([(8, 48.8), (8.1, 48.8)], 41, highway="track")
    new.save()
    return new


@pytest.fixture
def read(valley: Any, make_job: Callable[..., Job]) -> Callable[..., Inputs]:
    return lambda **choice: read_inputs(make_job(lines=[{"id": "L", "osm": {"path": valley.path, **choice}}]))


def test_ways_joined_and_towers_numbered(read: Callable[..., Inputs]) -> None:
    inputs = read(way_ids=[12, 11])
    (line,) = inputs.lines
    assert line.in_order
    assert line.osm_way_ids == (11, 12)
    # along the first way named: from the third tower to the sixth
    assert line.towers["tower_id"].tolist() == ["1", "seq-002", "seq-003", "seq-004", "seq-005", "6"]
    assert line.towers["order"].tolist() == [1, 2, 3, 4, 5, 6]
    assert list(line.towers.columns) == list(TOWER_COLUMNS)
    assert line.towers[list(TOWER_FIGURES)].isna().all(axis=None)
    assert [line.towers[name].dtype.kind for name in TOWER_FIGURES] == ["f"] * 4
    assert line.towers.geometry.x.round(2).tolist() == [8.0, 8.01, 8.02, 8.03, 8.04, 8.05]
    (course,) = line.course
    assert course.distance(shapely.Point(8.005, 49.0001)) == pytest.approx(0, abs=1e-12)
    assert inputs.problems == (
        "map.osm, osm way 11, 12: 4 of 6 towers without a number (ref) of their own: called seq-… by their place "
        "along the line",
    )


def test_direction_is_that_of_the_first_way_named(read: Callable[..., Inputs]) -> None:
    assert read(way_ids=[11, 12]).lines[0].towers["tower_id"].tolist()[0] == "6"


@pytest.mark.parametrize(
    ("choice", "ways"),
    [
        ({"name": "East - West"}, [(11, 12)]),
        ({"name": " East  - West"}, [(11, 12)]),
        ({"ref": "L7"}, [(11, 12)]),
        ({"voltage_kv": 110}, [(11, 12), (21,)]),
        ({"voltage_kv": 20}, [(12, 13)]),
        ({"voltage_kv": 110, "name": "North"}, [(21,)]),
        ({"way_ids": [11, 21], "name": "North"}, [(21,)]),
    ],
    ids=str,
)
def test_choices(read: Callable[..., Inputs], choice: dict[str, Any], ways: list[tuple[int, ...]]) -> None:
    found = [tuple(sorted(line.osm_way_ids)) for line in read(**choice).lines]
    if choice == {"voltage_kv": 20}:
        assert sorted({way for line in found for way in line}) == [12, 13]
    else:
        assert found == ways


def test_branch_is_a_line_of_its_own_from_the_tee(read: Callable[..., Inputs]) -> None:
    trunk, branch = read(way_ids=[11, 12, 13]).lines
    assert (trunk.line.id, branch.line.id) == ("L", "L-2")
    assert branch.osm_way_ids == (13,)
    assert branch.towers["tower_id"].tolist() == ["3", "seq-002", "seq-003"]
    assert branch.towers["structure"].tolist() == ["", "pole", "frame_2"]
    tee = branch.towers.geometry.iloc[0]
    assert tee.x == 8.03
    assert trunk.towers.geometry.geom_equals(tee).sum() == 1


@pytest.mark.parametrize(
    ("fault", "kept"), [({"current_ka": 8}, True), ({"from_start_ka": 8, "from_end_ka": 2}, False)]
)
def test_branch_has_no_stations_towers_or_sides_of_its_line(
    valley: Any, make_job: Callable[..., Job], fault: dict[str, float], kept: bool
) -> None:
    line = {
        "id": "L",
        "osm": {"path": valley.path, "way_ids": [11, 12, 13]},
        "voltage_kv": 110,
        "load": {"current_a": 100},
        "fault": fault | {"clearing_time_s": 0.3},
        "start_grid_ohm": 0.5,
        "sections": [{"to_tower": "3"}],
    }
    trunk, branch = (found.line for found in read_inputs(make_job(lines=[line])).lines)
    assert (trunk.start_grid_ohm, len(trunk.sections), trunk.fault is not None) == (0.5, 1, True)
    assert (branch.start_grid_ohm, branch.sections, branch.fault is not None) == (None, (), kept)
    assert branch.load == trunk.load


def test_branch_ids_do_not_collide(valley: Any, make_job: Callable[..., Job]) -> None:
    lines = [
        {"id": "L", "osm": {"path": valley.path, "way_ids": [11, 12, 13]}},
        {"id": "L-2", "osm": {"path": valley.path, "way_ids": [21]}},
    ]
    assert [line.line.id for line in read_inputs(make_job(lines=lines)).lines] == ["L", "L-3", "L-2"]


@pytest.mark.parametrize(
    ("choice", "message"),
    [
        ({"way_ids": [11, 99]}, r"osm way 99 \(lines\[0\].osm.way_ids\) is not in the extract, .*has 4 such ways: 11"),
        ({"way_ids": [41]}, "osm way 41 .* is not in the extract, or no way with power=line"),
        ({"name": "South"}, r"lines\[0\].osm asks for \(name = 'South'\); there are: .*21 \(North; 110 kV\)"),
        ({"voltage_kv": 380}, r"voltage_kv = 380.0\); there are: .*12 \(East - West; L7; 110 kV; 20 kV\)"),
    ],
)  # fmt: skip
def test_choices_that_meet_nothing(read: Callable[..., Inputs], choice: dict[str, Any], message: str) -> None:
    with pytest.raises(LineError, match=message):
        read(**choice)


def test_line_without_towers(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    new.line([(8, 49), (8.1, 49)], 5, power="line")
    job = make_job(lines=[{"osm": {"path": new.save(), "way_ids": [5]}}])
    with pytest.raises(LineError, match=r"map.osm, osm way 5: a line needs at least two towers \(found 0\)"):
        read_inputs(job)


def test_branch_with_one_tower_is_left_out_and_said_so(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    nodes = [new.node(8 + i / 100, 49, **({"power": "tower"} if i != 1 else {})) for i in range(4)]
    new.way(nodes, 50, power="line")
    new.way([nodes[1], new.node(8.01, 49.001, power="tower")], 60, power="line")
    inputs = read_inputs(make_job(lines=[{"osm": {"path": new.save(), "way_ids": [50, 60]}}]))
    assert [len(line.towers) for line in inputs.lines] == [3]
    assert "map.osm, osm way 60: 1 tower, 111 m of line; left out" in inputs.problems


def test_what_is_left_out_of_a_way_stays_an_obstacle(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    """The way with the lone tower also holds the first span of the line: the line is planned, the rest still hangs."""
    new = osm_file()
    first, tee, last = (new.node(8 + i / 100, 49, **({"power": "tower"} if i != 1 else {})) for i in range(3))
    alone = new.node(8.01, 49.001, power="tower")
    new.way([first, tee, alone], 50, power="line")
    new.way([tee, last], 60, power="line")
    path = new.save()
    job = make_job(lines=[{"osm": {"path": path, "way_ids": [50, 60]}}], layers=[{"path": path}])
    inputs = read_inputs(job)
    assert "map.osm, osm way 50: 1 tower, 111 m of line; left out" in inputs.problems
    assert inputs.features["feature_id"].tolist() == ["osm way 50"]
    model = build_lines(inputs.lines)
    obstacles, dropped = build_obstacles(inputs.features, model.spans, job.obstacle_classes, permitted_given=False)
    kept = obstacles.segment_feature[~obstacles.is_planned[obstacles.segment_feature]]
    assert (len(kept), dropped > 0) == (1, True)  # the lone span is kept, the planned one is not met twice


def test_nodes_that_are_not_in_the_extract(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    nodes = [new.node(8 + i / 100, 49, power="tower") for i in range(3)]
    new.way([nodes[0], 7777, nodes[1], nodes[2]], 5, power="line")
    inputs = read_inputs(make_job(lines=[{"osm": {"path": new.save(), "way_ids": [5]}}]))
    assert len(inputs.lines[0].towers) == 3
    assert inputs.problems[0] == "map.osm, osm way 5: 1 node not in the extract; towers there are not known"


def test_two_towers_at_one_place(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    new.way([new.node(lon, 49, power="tower") for lon in (8, 8.01, 8.010001)], 5, power="line")
    with pytest.raises(LineError, match="towers 'seq-002' and 'seq-003' stand at the same place"):
        read_inputs(make_job(lines=[{"osm": {"path": new.save(), "way_ids": [5]}}]))


def test_tower_ids() -> None:
    assert tower_ids(["a", "", "b", "a"]) == (["seq-001", "seq-002", "b", "seq-004"], 3)
    assert tower_ids([""] * 1000)[0][-1] == "seq-1000"
    ids, _ = tower_ids(["seq-002", "", "x"])
    assert len(set(ids)) == 3


@pytest.mark.parametrize(
    ("tags", "structure"),
    [
        ({"power": "tower"}, ""),
        ({"power": "tower", "structure": "lattice"}, ""),  # three legs or four is not told
        ({"power": "tower", "structure": "tubular"}, "pole"),
        ({"power": "pole"}, "pole"),
        ({"power": "portal"}, "frame_2"),
        ({"power": "pole", "design": "h-frame"}, "frame_2"),
    ],
)
def test_structure(tags: dict[str, str], structure: str) -> None:
    assert structure_of(tags) == structure


DESIGNS = {"three-level": "lattice_4", "delta": "lattice_3"}


def test_structures_by_the_jobs_own_map_of_a_tag(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    tags = [
        {"power": "tower", "design": "delta"},
        {"power": "tower"},  # says nothing: by the line's own
        {"power": "pole", "design": "three-level"},  # the map of the job goes before what the tag power says
        {"power": "portal"},
        {"power": "tower", "design": "pole"},  # one of ours
    ]
    new.way([new.node(8 + i / 100, 49, **tag) for i, tag in enumerate(tags)], 5, power="line")
    osm = {"path": new.save(), "way_ids": [5], "structure_tag": "design", "structure_map": DESIGNS}
    (line,) = read_inputs(make_job(lines=[{"osm": osm}])).lines
    assert line.towers["structure"].tolist() == ["lattice_3", "", "lattice_4", "frame_2", "pole"]


def test_a_tag_that_nobody_mapped_is_an_error(osm_file: NewFile, make_job: Callable[..., Job]) -> None:
    new = osm_file()
    designs = ["delta", "barrel", "barrel"]
    nodes = [new.node(8 + i / 100, 49, 61 + i, power="tower", design=design) for i, design in enumerate(designs)]
    new.way(nodes, 5, power="line")
    osm = {"path": new.save(), "way_ids": [5], "structure_tag": "design", "structure_map": DESIGNS}
    words = r"osm way 5: osm node 62, 63, tag 'design': 'barrel' is no structure\. Known: .* structure_map three-level"
    with pytest.raises(InputError, match=words):
        read_inputs(make_job(lines=[{"osm": osm}]))


@pytest.mark.parametrize("given", [{"structure_tag": "design"}, {"structure_map": DESIGNS}])
def test_tag_and_map_of_structures_go_together(make_job: Callable[..., Job], given: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="structure_tag and structure_map go together"):
        make_job(lines=[{"osm": {"path": "m.osm", "way_ids": [5], **given}}])


def test_tags_tell_what_the_job_leaves_open(read: Callable[..., Inputs], make_job: Callable[..., Job]) -> None:
    inputs = read(way_ids=[12, 11])
    (line,) = inputs.lines
    assert line.line.voltage_kv == 110
    assert "line 'L': voltage 110 kV (the highest of 110 and 20) as tagged on the map" in inputs.assumptions[0]
    assert line.osm_node_ids == (101, 102, 103, 104, 105, 106)
    job = make_job(
        lines=[{"id": "L", "osm": {"path": "m.osm", "way_ids": [12, 11]}}, {"id": "M", "towers": {"path": "t"}}]
    )
    told = as_read(job, inputs.lines).lines
    assert [item.voltage_kv for item in told] == [110, None]
