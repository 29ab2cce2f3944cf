"""Parts of the sheets one by one: what leads cross, lines of text, scales, places."""

import io
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod
from reportlab.pdfgen.canvas import Canvas

from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.job import shipped_classes
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.sheets.blocks import wrapped
from layoutplan.outputs.sheets.crossings import crossings_of
from layoutplan.outputs.sheets.facts import sheets_of
from layoutplan.outputs.sheets.fonts import Fonts
from layoutplan.outputs.sheets.panel import SCALES, panel_around
from layoutplan.outputs.sheets.paragraphs import _cautions, _to_settle
from layoutplan.outputs.sheets.pen import Box, Pen, cut
from layoutplan.outputs.sheets.tables import minutes

GEOD = Geod(ellps="WGS84")


def pen():
    fonts = Fonts()
    return Pen(Canvas(io.BytesIO(), initialFontName=fonts.regular), fonts)


def met(role, obstacle_class, at_m, name="", feature_id="", verdict="to be agreed", met_by="lead"):
    row = {"role": role, "obstacle_class": obstacle_class, "at_m": at_m, "name": name, "feature_id": feature_id}
    return SimpleNamespace(**row, verdict=verdict, met_by=met_by)


def crossings(*rows):
    found = crossings_of(SimpleNamespace(crossings=rows), shipped_classes())
    return [(c.number, c.role, c.what, c.at_m) for c in found]


def test_crossings_are_numbered_over_both_leads():
    rows = (
        met("H", "minor_road", 43.2, "Mill Lane", "osm way 1"),
        met("H", "stream_ditch", 60.0),
        met("H", "protected_area", None, "Moss", met_by="stake"),
        met("S", "track_path", 45.1, feature_id="roads 21"),
    )
    assert crossings(*rows) == [
        (1, "H", "minor road 'Mill Lane'", 43.2),
        (2, "H", "stream or ditch", 60.0),
        (3, "S", "track or path", 45.1),
    ]


@given(st.text("; at0123456789.m'()", max_size=30), st.text("; at0123456789.m'()", max_size=30))
def test_a_name_of_whatever_letters_makes_one_crossing(name, number):
    """Names hold what once told crossings from each other: "; " and " at 3 m"."""
    (found,) = crossings(met("H", "minor_road", 12.0, name, number))
    assert found == (1, "H", shipped_classes()["minor_road"].describe(name), 12.0)


def sheet_of(checks, *rows):
    base = dict.fromkeys(("slope_deg", "cliff_drop_m", "handling", "handling_fault", "stake_touch_v"))
    stake = SimpleNamespace(role="H", status="breaks rules", **base)
    return SimpleNamespace(stakes=(stake,), checks=checks, crossings=rows, ways=())


def test_a_forbidden_crossing_has_no_line_to_sign():
    checks = [SimpleNamespace(role="H", rule="lead_crossing", verdict="broken", detail="", measured=1.0, limit=0.0)]
    sheet = sheet_of(
        checks,
        met("H", "minor_road", 20.0, feature_id="roads 3"),
        met("H", "track_path", 30.0, verdict="take care"),
        met("H", "railway", 60.0, "Coast line", "railways 1", "broken"),
    )
    classes = shipped_classes()
    items = [(item.mark, item.text) for item in _to_settle(sheet, crossings_of(sheet, classes), classes)]
    assert [mark for mark, _ in items] == ["1", "2", "3", "!"]
    assert sum("Agreed with" in text for _, text in items) == 1
    assert items[1][1].endswith("take care.")
    assert "not to be laid there, whoever agrees" in items[2][1]
    assert items[3][1] == "H: breaks lead crossing."


def test_what_a_lead_passes_closely_is_a_caution_for_the_crew():
    check = {"rule": "lead_beside", "role": "H", "limit": 5.0, "unit": "m", "detail": "railway 'Coast line'"}
    rows = [(0.4, "compromise"), (0.0, "compromise"), (7.0, "kept"), (None, "unknown")]
    told = [
        [item.text for item in _cautions(sheet_of([SimpleNamespace(measured=value, verdict=verdict, **check)]))]
        for value, verdict in rows
    ]
    passing = "Lead H passes railway 'Coast line' by 0.4 m: keep it off."
    assert any(text.startswith(passing) for text in told[0])
    assert any(text.startswith(passing.replace("0.4", "0.0")) for text in told[1])  # it touches
    assert not any("passes" in text for texts in told[2:] for text in texts)


def test_what_the_tower_stands_in_has_no_number():
    rows = met("H", "protected_area", 0.0, "Moss", "a 1"), met("H", "minor_road", 9.0)
    assert crossings(*rows) == [(0, "H", "protected area 'Moss'", 0.0), (1, "H", "minor road", 9.0)]


@given(st.text(max_size=200), st.floats(20, 120), st.sampled_from([6.0, 8.0, 12.0]))
def test_lines_are_never_wider_than_asked_for(text, width, size):
    drawing = PEN
    lines = wrapped(drawing, text, width, size)
    assert all(drawing.width(line, size) <= width + 1e-6 for line in lines)
    assert drawing.width(cut(drawing, text, width, size), size) <= width + 1e-6


@given(st.text(st.characters(codec="latin-1", categories=("L", "N", "Zs")), max_size=120))
def test_no_letter_is_lost_in_wrapping(text):
    assert "".join("".join(wrapped(PEN, text, 30, 8.0)).split()) == "".join(text.split())


PEN = pen()


@pytest.mark.parametrize("reach_m", [10.0, 40.0, 75.0, 140.0, 299.0, 2000.0, 90_000.0])
def test_scales_are_round_and_hold_everything_with_a_margin(reach_m):
    box = Box(12, 100, 117, 90)
    xy = np.array([[-reach_m, 0.0], [reach_m, reach_m / 2]])
    panel = panel_around(xy, np.array([9.0, 47.0]), np.array(metres_per_degree(47.0)), box)
    assert panel.scale in SCALES or panel.scale > SCALES[-1]
    assert box.inset(0.1 * 90).left <= panel.mm_of(xy)[:, 0].min()
    assert panel.mm_of(xy)[:, 0].max() <= box.right - 0.1 * 90


@pytest.mark.parametrize("lat", [-54.0, 0.0, 47.0, 71.0])
@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 141.5, 263.0])
def test_places_on_paper_keep_bearing_and_distance(lat, bearing):
    """Against pyproj's geodesic: to a hundredth of a millimetre at 1:2,000 and 150 m."""
    origin = np.array([9.0, lat])
    metres = np.array(metres_per_degree(origin[1]))
    panel = panel_around(np.array([[-100.0, -100.0], [100.0, 100.0]]), origin, metres, Box(0, 0, 130, 130))
    lon, lat_there, _ = GEOD.fwd(9.0, lat, bearing, 150.0)
    here, there = panel.points_of(np.array([origin, [lon, lat_there]])) * 25.4 / 72
    expected = 150.0 * 1000 / panel.scale * np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    assert there - here == pytest.approx(expected, abs=0.01)


def test_grid_axes_agree_with_the_projections_factors(calm_plan):
    """Scale and convergence from short steps against those that PROJ computes by itself."""
    from pyproj import Proj

    for sheet in sheets_of(on_the_globe(calm_plan), -180.0)[0]:
        factors = Proj("EPSG:32632").get_factors(sheet.tower.lon, sheet.tower.lat)
        assert np.linalg.norm(sheet.grid[:, 0]) == pytest.approx(factors.parallel_scale, abs=1e-7)
        turn = np.degrees(np.arctan2(sheet.grid[0, 1], sheet.grid[1, 1]))
        assert turn == pytest.approx(-factors.meridian_convergence, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "letters", "text"),
    [(47.12, "NS", "47° 07.200′ N"), (-0.5, "EW", "00° 30.000′ W"), (9.9999999, "EW", "10° 00.000′ E")],
)
def test_degrees_and_minutes(value, letters, text):
    assert minutes(value, letters) == text


def test_what_is_listed_with_a_line_to_sign_is_not_told_again():
    checks = [
        SimpleNamespace(role="H", rule=rule, verdict="to be agreed", detail="x", measured=1.0, limit=0.0)
        for rule in ("crossing_agreement", "ground_agreement")
    ]
    rows = met("H", "minor_road", 20.0), met("H", "protected_area", None, "Moss", met_by="stake")
    sheet, classes = sheet_of(checks, *rows), shipped_classes()
    texts = [item.text for item in _to_settle(sheet, crossings_of(sheet, classes), classes)]
    assert [text.partition(" ")[0] for text in texts] == ["Lead", "Stake"]
    assert all("Agreed with ____" in text for text in texts)
