"""Ways on foot in scenes where the right answer is known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layoutplan.access import Relief, build_ground, to_point, to_tower, walk_minutes, walk_on, walk_out
from layoutplan.job import shipped_classes
from layoutplan.job.access import Access

from ..effort import some
from .scenes import EVERYWHERE, Feature, Road, Scene, line

# a way of sixteen directions is at worst 1 / cos(atan(1/2) / 2) = 1.0275 of the straight one
DIRECTIONS = 1 / np.cos(np.arctan(0.5) / 2)
LEVEL_M_PER_MIN = 6000 * np.exp(-3.5 * 0.05) / 60  # Tobler 1993: 5.04 km/h on a level path
OFF_PATH_M_PER_MIN = 0.6 * LEVEL_M_PER_MIN
CELL_M = 4.0
EAST_END = (179.9999, -44.0)  # a hand away from the antimeridian
EAST_ROAD = Road(line((120, -2000), (120, 2000)), name="East Road")


def ring(half_m):
    return shapely.box(-half_m, -half_m, half_m, half_m).exterior


def ways_round(*parts):
    """Length of a way through points. [m]."""
    return shapely.LineString(parts).length


@pytest.mark.parametrize("at", EVERYWHERE)
def test_free_level_ground_is_walked_straight(at):
    route = to_tower(Scene(roads=(EAST_ROAD,), at=at).walks())
    assert route.verdict == "reachable"
    assert route.walk_m == pytest.approx(120, rel=1e-6)
    # the last cell may count as road
    assert route.walk_min == pytest.approx(120 / OFF_PATH_M_PER_MIN, abs=CELL_M / OFF_PATH_M_PER_MIN)
    assert np.isnan(route.climb_m)
    np.testing.assert_allclose(route.line.coords, [(120, 0), (0, 0)], atol=1e-6)


@pytest.mark.parametrize("bearing_deg", some([*range(0, 360, 70), *(deg for deg in range(0, 360, 10) if deg % 70)], 3))
def test_free_ground_in_all_directions(bearing_deg):
    angle = np.radians(bearing_deg)
    target = 140 * np.array([np.sin(angle), np.cos(angle)])
    route = to_point(Scene().walks([target]), target)
    assert 140 - 1e-6 <= route.walk_m <= 140 * DIRECTIONS + CELL_M
    assert route.walk_min == pytest.approx(route.walk_m / OFF_PATH_M_PER_MIN, rel=1e-6)


def test_a_path_is_walked_at_the_speed_on_paths():
    scene = Scene(roads=(EAST_ROAD, Road(line((0, 0), (120, 0)), "track_path", "no")))
    route = to_tower(scene.walks())
    assert route.walk_min == pytest.approx(120 / LEVEL_M_PER_MIN, rel=0.05)  # the last cell lies beside the path


def test_a_wall_is_passed_at_its_gate():
    wall = Feature("fence_wall", line((60, -3000), (60, 3000)), 0.3, "park wall")
    scene = Scene((wall,), (EAST_ROAD,), ((60.0, 90.0),))
    route = to_tower(scene.walks())
    assert route.verdict == "reachable"
    assert route.crossings == ("fence or wall park wall",)
    assert shapely.intersection(route.line, shapely.LineString([(60, -500), (60, 500)])).y == pytest.approx(90, abs=4)
    assert route.walk_m == pytest.approx(ways_round((120, 90), (60, 90), (0, 0)), rel=0.03, abs=2 * CELL_M)


@pytest.mark.parametrize(
    ("vehicle", "north_m", "verdict"),
    [
        ("permit", 90.0, "reachable"),
        ("no", 90.0, "reachable"),  # a stile
        ("locked", 90.0, "needs permission"),
        ("locked", 990.0, "reachable"),  # another gate lies nearer
    ],
)
def test_a_locked_gate_asks_for_a_permission(vehicle, north_m, verdict):
    wall = Feature("fence_wall", line((60, -3000), (60, 3000)), 0.3)
    through = Road(line((70, -200), (50, -200)), "track_path", "no")
    route = to_tower(Scene((wall,), (EAST_ROAD, through), ((60.0, north_m),), gate_vehicle=vehicle).walks())
    assert route.verdict == verdict
    assert route.because == (("a locked or private gate",) if verdict == "needs permission" else ())


def test_a_gate_opens_no_building():
    scene = Scene((Feature("building", shapely.box(58, -3000, 62, 3000), 0, "hall"),), (EAST_ROAD,), ((60.0, 90.0),))
    assert to_tower(scene.walks()).verdict == "not reachable on foot"


def test_a_path_opens_the_wall_it_crosses_but_not_the_wall_beside_it():
    wall = Feature("fence_wall", line((60, -3000), (60, 3000)), 0.3)
    beside = Road(line((62, -200), (62, 200)), "track_path", "no")
    through = Road(line((62, 200), (55, 200)), "track_path", "no")
    assert to_tower(Scene((wall,), (EAST_ROAD, beside)).walks()).verdict == "not reachable on foot"
    route = to_tower(Scene((wall,), (EAST_ROAD, beside, through)).walks())
    assert shapely.intersection(route.line, shapely.LineString([(60, -500), (60, 500)])).y == pytest.approx(200, abs=4)


@pytest.mark.parametrize("shape", ["line", "area"])
@pytest.mark.parametrize("at", EVERYWHERE[:3])
def test_a_river_is_crossed_on_its_bridge(at, shape):
    course = line((50, -3000), (50, 3000))
    river = Feature("river_canal", course if shape == "line" else course.buffer(7.5), 15.0, "Alpha")
    deck = Feature("bridge_overhead", line((60, 100), (40, 100)), 3.0)
    bridge = Road(deck.shape, "track_path", "no", bridge=1)
    path = Road(line((120, 100), (60, 100)), "track_path", "no"), Road(line((40, 100), (-20, 100)), "track_path", "no")
    route = to_tower(Scene((river, deck), (EAST_ROAD, *path, bridge), at=at).walks())
    assert route.verdict == "reachable"
    assert route.crossings == ("river or canal Alpha",)
    wet = shapely.intersection(route.line, course.buffer(7.5))
    assert np.abs(shapely.get_coordinates(wet)[:, 1] - 100).max() <= CELL_M + 1e-6
    assert route.walk_m == pytest.approx(ways_round((120, 100), (30, 100), (0, 0)), rel=0.06, abs=2 * CELL_M)


def test_without_a_bridge_the_river_is_named():
    river = Feature("river_canal", line((50, -3000), (50, 3000)), 15.0, "Alpha")
    route = to_tower(Scene((river,), (EAST_ROAD,)).walks())
    assert (route.verdict, route.because) == ("not reachable on foot", ("river or canal Alpha",))
    assert route.line is None
    assert np.isnan(route.walk_min)


def test_an_island_is_not_reachable():
    moat = Feature("river_canal", shapely.Point(0, 0).buffer(60).difference(shapely.Point(0, 0).buffer(40)), 0, "Beta")
    walks = Scene((moat,), (EAST_ROAD,)).walks()
    assert walks.window.half_m == 300.0  # shut in: nothing farther out can help
    assert to_tower(walks).because == ("river or canal Beta",)


def test_an_island_in_the_sea_is_not_reachable():
    coasts = line((-3000, 80), (3000, 80)), shapely.Point(0, 0).buffer(60).exterior
    scene = Scene(
        tuple(Feature("standing_water", coast, 2.0) for coast in coasts), (Road(line((-300, 120), (300, 120))),)
    )
    assert to_tower(scene.walks()).verdict == "not reachable on foot"


def test_an_island_without_a_road_near_is_not_reachable_either():
    moat = Feature("river_canal", shapely.Point(0, 0).buffer(60).difference(shapely.Point(0, 0).buffer(40)), 0, "Beta")
    route = to_tower(Scene((moat,)).walks())
    assert (route.verdict, route.because) == ("not reachable on foot", ("river or canal Beta",))


def test_all_that_shuts_a_tower_in_is_named_from_the_road_inwards():
    rings = tuple(Feature("fence_wall", ring(half), 0.3, name) for half, name in ((30, "inner"), (60, "outer")))
    route = to_tower(Scene(rings, (EAST_ROAD,)).walks())
    assert route.because == ("fence or wall outer", "fence or wall inner")


def test_a_wall_along_the_road_is_no_drop_off():
    wall = Feature("fence_wall", line((118.5, -3000), (118.5, 3000)), 0.3, "wall")
    route = to_tower(Scene((wall,), (EAST_ROAD,)).walks())
    assert (route.verdict, route.because) == ("not reachable on foot", ("fence or wall wall",))


def test_a_tower_in_the_water_is_not_reachable():
    lake = Feature("standing_water", shapely.Point(0, 0).buffer(40), 0, "Pond")
    assert to_tower(Scene((lake,), (EAST_ROAD,)).walks()).because == ("standing water Pond",)


def test_no_road():
    far = Road(line((1600, -2000), (1600, 2000)))
    for roads in ((), (far,), (Road(line((50, -90), (50, 90)), "track_path", "no"),)):
        assert to_tower(Scene(roads=roads).walks()).verdict == "no road within 1500 m"
    assert to_tower(Scene(roads=(far,), settings={"radius_m": 1700}).walks()).verdict == "reachable"


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("kind", "agreed"),
    some(
        [
            (kind, agreed)
            for agreed in (("main_road", "minor_road"), ("main_road",), ())
            for kind in ("main_road", "minor_road")
        ],
        2,
    ),
)
def test_nobody_stops_on_a_motorway_not_even_by_agreement(kind, agreed):
    """It passes the tower at 30 m; the next road is 900 m away, more than the ten minutes of a permission."""
    motorway, far = Road(line((30, -900), (30, 900)), kind, "no stopping"), Road(line((-900, -900), (-900, 900)))
    settings = {"stop_by_agreement": agreed, "road_classes": {"four_wheel_drive": ("main_road", "minor_road")}}
    assert Scene(roads=(motorway, far), settings=settings).walks().drop_off.point_m == pytest.approx([-900, 0], abs=5)
    assert to_tower(Scene(roads=(motorway,), settings=settings).walks()).verdict == "no road within 1500 m"
    other = Road(motorway.shape, kind)
    assert Scene(roads=(other, far), settings=settings).walks().drop_off.point_m == pytest.approx([30, 0], abs=5)


def test_the_vehicle_decides_where_to_stop():
    roads = (EAST_ROAD, Road(line((40, -2000), (40, 2000)), "track_path", name="track"))
    for vehicle, name in (("car", "East Road"), ("four_wheel_drive", "track"), ("tracked", "track")):
        walks = Scene(roads=roads, settings={"vehicle": vehicle}).walks()
        assert walks.window.ground.road_name[walks.drop_off.road] == name
    chosen = Scene(roads=roads, settings={"road_classes": {"four_wheel_drive": ["minor_road"]}}).walks()
    assert chosen.window.ground.road_name[chosen.drop_off.road] == "East Road"


def test_a_stop_that_needs_a_permission_is_taken_where_the_detour_is_too_long():
    private = Road(line((40, -2000), (40, 2000)), "track_path", "permit", "farm track")
    assert to_tower(Scene(roads=(EAST_ROAD, private)).walks()).verdict == "reachable"
    for roads, settings in (((private,), {}), ((EAST_ROAD, private), {"permission_detour_min": 1})):
        route = to_tower(Scene(roads=roads, settings=settings).walks())
        assert (route.verdict, route.because) == ("needs permission", ("stopping on farm track",))
        assert route.walk_m == pytest.approx(40, abs=0.01)


def test_stopping_on_a_main_road_is_to_be_agreed_and_nobody_crosses_it():
    main = Road(line((60, -3000), (60, 3000)), "main_road", name="B1")
    body = Feature("main_road", main.shape, 12.0, "B1")
    route = to_tower(Scene((body,), (main, EAST_ROAD)).walks())
    assert (route.verdict, route.because) == ("needs permission", ("stopping on B1",))
    assert route.walk_m == pytest.approx(60, abs=0.01)
    shut = to_tower(Scene((body,), (main, EAST_ROAD), settings={"stop_by_agreement": []}).walks())
    assert (shut.verdict, shut.because) == ("not reachable on foot", ("motorway or main road B1",))


def test_a_stop_beside_a_road_that_is_wider_than_its_class():
    course = line((61, -2000), (61, 2000))
    route = to_tower(Scene((Feature("main_road", course, 28.0),), (Road(course, "main_road", width_m=28.0),)).walks())
    assert (route.verdict, route.because) == ("needs permission", ("stopping on a main road",))


def test_land_on_which_one_must_ask_is_avoided_or_named():
    yard = Feature("yard", shapely.box(20, -15, 80, 15), 0, "works")
    scene = Scene((yard,), (EAST_ROAD,), settings={"walking": {"yard": 3}})
    route = to_tower(scene.walks())
    assert route.verdict == "reachable"
    assert not shapely.intersects(route.line, shapely.box(22, -13, 78, 13))
    whole = Feature("yard", ring(60).buffer(20), 0, "works")
    named = to_tower(scene.but(features=(whole,)).walks())
    assert (named.verdict, named.because) == (
        "needs permission",
        ("yard, works, parking, school or sports ground works",),
    )


@pytest.mark.parametrize("wide_m", [0.5, 2.0, 3.5, 9.0])
@pytest.mark.parametrize("turned_deg", [0, 30, 45])
def test_a_strip_that_lies_between_the_places_is_named(wide_m, turned_deg):
    strip = shapely.affinity.rotate(shapely.box(60.3, -3000, 60.3 + wide_m, 3000), turned_deg, (60, 0))
    route = to_tower(Scene((Feature("no_entry", strip, name="of Mr N."),), (EAST_ROAD,)).walks())
    assert (route.verdict, route.because) == ("needs permission", ("no-entry land of Mr N.",))


def test_a_parcel_beside_the_way_is_not_named():
    beside = shapely.affinity.rotate(shapely.box(-3000, 0.5, 3000, 300), 10, (0, 0))
    beside = beside.difference(shapely.box(-5, -400, 5, 900))  # two parts, once it is cut to the surroundings
    route = to_tower(Scene((Feature("no_entry", beside),), (Road(line((-90, -200), (-90, 200))),)).walks())
    assert route.verdict == "reachable"


def test_ground_outside_the_permitted_land():
    scene = Scene((Feature("permitted_land", shapely.box(-30, -30, 30, 30)),), (EAST_ROAD,))
    route = to_tower(scene.walks())
    assert (route.verdict, route.because) == ("needs permission", ("ground outside the permitted land",))


def test_a_steep_slope_is_walked_round():
    scene = Scene(roads=(EAST_ROAD,))
    hill = scene.relief(lambda east, north: 40 * np.exp(-((east - 60) ** 2 + north**2) / 2 / 20**2))
    route = to_tower(scene.walks(relief=hill))
    assert route.verdict == "reachable"
    assert shapely.distance(route.line, shapely.Point(60, 0)) > 15
    flat = to_tower(scene.walks())
    assert route.walk_min > flat.walk_min
    assert route.climb_m < 30


def test_ground_too_steep_is_named():
    scene = Scene(roads=(EAST_ROAD,))
    steep = Relief(slope_deg=lambda lonlat: np.where(np.abs(scene.frame.to_xy(lonlat)[:, 0] - 60) < 10, 60.0, 0.0))
    route = to_tower(scene.walks(relief=steep))
    assert (route.verdict, route.because) == ("not reachable on foot", ("ground too steep to walk",))


def test_climb_is_counted_in_walking_direction():
    scene = Scene(roads=(EAST_ROAD,))
    rising_east = scene.relief(lambda east, _north: 0.2 * east)
    walks = scene.walks([(100.0, 0.0)], rising_east)
    down, up = to_tower(walks), to_point(walks, np.array([100.0, 0.0]))
    assert down.climb_m == pytest.approx(0, abs=1e-6)
    assert up.climb_m == pytest.approx(20, abs=1e-3)
    assert up.walk_m == pytest.approx(np.hypot(100, 20), rel=1e-4)


def test_a_farther_road_with_a_shorter_way_is_found_beyond_the_first_window():
    wall = Feature("fence_wall", shapely.box(100, -2000, 110, 650).exterior, 0.3)  # the near road lies behind it
    north = Road(line((-400, 320), (90, 320)), name="North Road")
    walks = Scene((wall,), (EAST_ROAD, north)).walks()
    assert walks.window.half_m == 700.0
    assert walks.window.ground.road_name[walks.drop_off.road] == "North Road"


def test_surroundings_grow_no_farther_than_something_better_can_lie():
    wall = Feature("fence_wall", line((100, -150), (100, 150)), 0.3)  # round it one is later than straight at the edge
    scene = Scene((wall,), (Road(line((280, -200), (280, 200))),))
    walks, at_once = scene.walks(), scene.but(settings={"first_window_m": 700.0}).walks()
    assert 300 < walks.window.half_m < 450
    assert walks.drop_off.seconds == at_once.drop_off.seconds


def test_a_bridge_cut_by_the_edge_of_the_first_window_is_left_at_its_true_end():
    """The first window lets one off the bridge at its edge, and so promises a shorter way than there is."""
    river = Feature("river_canal", shapely.box(190, -3000, 210, 3000), name="Alpha")
    deck = Feature("bridge_overhead", line((150, 280), (350, 320)), 3.0)
    roads = Road(deck.shape, "minor_road", bridge=1), Road(line((280, -200), (280, 250)), name="East Road")
    scene = Scene((river, deck), roads, settings={"radius_m": 700.0})
    first = walk_out(scene.ground(), scene.frame, Relief())
    walks, at_once = scene.walks(), scene.but(settings={"radius_m": 700.0, "first_window_m": 700.0}).walks()
    assert first.drop_off.seconds < walks.drop_off.seconds - 60
    assert walks.drop_off.seconds == at_once.drop_off.seconds
    assert walks.window.ground.road_name[walks.drop_off.road] == "East Road"


def test_crossings_come_in_order_without_the_road_of_the_drop_off():
    features = (
        Feature("stream_ditch", line((30, -3000), (30, 3000)), 2.0, "Brook"),
        Feature("minor_road", line((70, -3000), (70, 3000)), 6.0, "Lane"),
        Feature("minor_road", EAST_ROAD.shape, 6.0, "East Road"),
        Feature("woodland", shapely.box(40, -3000, 60, 3000), 0, "Wood"),
        Feature("power_line", line((50, -3000), (50, 3000)), 16.0),
    )
    route = to_tower(Scene(features, (EAST_ROAD,)).walks())
    assert route.crossings == ("minor road Lane", "stream or ditch Brook")


def test_an_electrode_behind_a_fence_is_reached_through_the_gate():
    fence = Feature("fence_wall", line((30, -3000), (30, 3000)), 0.3, "fence")
    target = np.array([31.0, 1.0])  # the place nearest to it lies on the other side
    walks = Scene((fence,), (EAST_ROAD,), ((30.0, -80.0),)).walks([target])
    route = to_point(walks, target)
    assert route.walk_m == pytest.approx(ways_round((0, 0), (30, -80), (31, 1)), rel=0.03, abs=2 * CELL_M)
    np.testing.assert_allclose(route.line.coords[-1], target)


def test_an_electrode_that_nobody_gets_to():
    fence = Feature("fence_wall", shapely.box(40, -20, 80, 20).exterior, 0.3, "pen")
    target = np.array([60.0, 3.0])
    walks = Scene((fence,), (EAST_ROAD,)).walks([target])
    route = to_point(walks, target)
    assert (route.verdict, route.because) == ("not reachable on foot", ("fence or wall pen",))
    assert to_tower(walks).verdict == "reachable"


def test_an_electrode_whose_way_leaves_the_first_window():
    fence = Feature("fence_wall", line((30, -3000), (30, 350)), 0.3, "fence")
    target = np.array([60.0, 0.0])
    walks = Scene((fence,), (Road(line((-250, -900), (-250, 900))),)).walks([target])
    assert walks.window.half_m == 700.0
    assert to_point(walks, target).walk_m == pytest.approx(
        ways_round((0, 0), (30, 350), (60, 0)), rel=0.03, abs=2 * CELL_M
    )


def test_an_electrode_that_lies_beyond_the_first_window():
    scene, target = Scene(roads=(EAST_ROAD,)), np.array([0.0, 450.0])
    walks = walk_on(walk_out(scene.ground(), scene.frame, Relief()), Relief(), [target])
    assert to_point(walks, target).walk_m == pytest.approx(450, abs=1e-6)


def test_minutes_to_points_agree_with_the_ways():
    pond = Feature("standing_water", shapely.Point(60, 60).buffer(20))
    targets = np.array([(100.0, 33.0), (-80.5, 17.2), (3.0, -141.0)])
    walks = Scene((pond,), (EAST_ROAD,)).walks(targets)
    ways = [to_point(walks, target).walk_min for target in targets]
    np.testing.assert_allclose(walk_minutes(walks, targets, from_tower=True), ways)
    np.testing.assert_allclose(walk_minutes(walks, targets), np.array(ways) + to_tower(walks).walk_min)
    shut_in, outside = walk_minutes(walks, [(60.0, 60.0), (5000.0, 0.0)], from_tower=True)
    assert np.isinf(shut_in)
    assert np.isnan(outside)


def test_minutes_from_the_drop_off_are_unknown_without_one():
    walks = Scene(settings={"radius_m": 200}).walks()
    assert np.isnan(walk_minutes(walks, [(10.0, 0.0)])).all()
    assert walk_minutes(walks, [(10.0, 0.0)], from_tower=True) == pytest.approx(10 / OFF_PATH_M_PER_MIN)


def test_a_tower_on_the_road():
    route = to_tower(Scene(roads=(Road(line((0, -300), (0, 300))),)).walks())
    assert route.verdict == "reachable"
    assert route.walk_m == pytest.approx(0, abs=1e-6)


def test_a_road_without_permission_is_looked_for_as_far_as_the_detour_goes():
    private = Road(line((40, -2000), (40, 2000)), "track_path", "permit", "farm track")
    public = Road(line((-2000, 350), (2000, 350)), name="North Road")
    walks = Scene(roads=(private, public)).walks()
    assert walks.window.half_m == 700.0
    assert to_tower(walks).verdict == "reachable"


@pytest.mark.parametrize("bearing_deg", some([3, 103, 203, 303, *(d for d in range(3, 360, 20) if d % 100 != 3)], 2))
def test_the_straightened_line_cuts_no_corner_of_a_barrier(bearing_deg):
    target = 80 * np.array([np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))])
    across = np.array([target[1], -target[0]]) / 80
    post = shapely.LineString([0.4 * target - 0.7 * across, 0.4 * target + 0.7 * across])
    route = to_point(Scene((Feature("fence_wall", post, 0.3),)).walks([target]), target)
    assert not shapely.intersects(route.line, post)


def test_longitudes_of_the_map_may_be_counted_otherwise_than_those_of_the_tower():
    scene = Scene((Feature("fence_wall", line((60, -3000), (60, 3000)), 0.3),), (EAST_ROAD,), ((60.0, 90.0),), EAST_END)
    expected = to_tower(scene.walks())
    assert expected.verdict == "reachable"

    def wrapped(table):
        return table.set_geometry(shapely.transform(table.geometry.to_numpy(), lambda xy: xy - [360.0, 0.0]))

    tables = [wrapped(table).set_crs("EPSG:4326") for table in (scene.map(), scene.road_table(), scene.gate_table())]
    ground = build_ground(tables[0], tables[1], shipped_classes(), Access(), gates=tables[2])
    found = to_tower(walk_on(walk_out(ground, scene.frame, Relief()), Relief()))
    assert found.crossings == expected.crossings
    assert found.walk_m == pytest.approx(expected.walk_m, abs=CELL_M)
