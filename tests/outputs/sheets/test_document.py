"""What is on the pages: read back by PDFium and pypdf."""

import dataclasses
import datetime as dt
import re
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pypdf import PdfReader
from pypdfium2 import raw

from layoutplan.job.land import Work
from layoutplan.layout.rules import BREAKS, NO_LAYOUT
from layoutplan.layout.set_out import metres, three_digits
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.sheets import write_sheets
from layoutplan.outputs.sheets.fonts import Fonts
from layoutplan.outputs.words import may_stake

from ...effort import some

COVER = 2  # pages before the first tower in these small plans


def test_a_cover_and_a_page_for_each_tower(calm_plan, written):
    document = written(calm_plan)
    assert len(document.pages) == COVER + len(calm_plan.towers)
    for number, tower in enumerate(calm_plan.towers["tower_id"], COVER + 1):
        text = document.text(number)
        assert f"Tower {tower}" in text
        assert f"page {number} of {len(document.pages)}" in text
        assert plan_number(calm_plan) in text


def test_every_figure_to_set_out_by_is_on_its_page(calm_plan, written):
    document = written(calm_plan)
    page_of = {tower: number for number, tower in enumerate(calm_plan.towers["tower_id"], COVER + 1)}
    for stake in calm_plan.leads.itertuples():
        text = document.text(page_of[stake.tower_id])
        for figure in (
            stake.waypoint,
            metres(stake.set_out_ground_m),
            metres(stake.set_out_level_m),
            metres(stake.lead_length_m),
            f"{metres(stake.distance_m)} {three_digits(stake.bearing_true_deg)}",
            f"{stake.angle_to_line_deg:.1f}°",
            f"{stake.lat:.6f} {stake.lon:.6f}",
            f"E {stake.easting:.1f} N {stake.northing:.1f}",
        ):
            assert figure in text, figure


def test_letters_can_be_read_in_the_field(calm_plan, written):
    """Nothing below 7 points; what a stake is set out by is written in 10 at least."""
    document = written(calm_plan)
    for page in range(1, len(document.pages) + 1):
        letters = document.letters(page)
        assert len(letters) > 100
        assert min(size for _, size in letters) > 6.99, page
    (number,) = [n for n, tower in enumerate(calm_plan.towers["tower_id"], COVER + 1) if tower == "001"]
    large = "".join(letter for letter, size in document.letters(number) if 9.99 < size < 11)
    for stake in calm_plan.electrodes[calm_plan.electrodes["tower_id"] == "001"].itertuples():
        for text in (metres(stake.set_out_ground_m), three_digits(stake.set_out_bearing_magnetic_deg)):
            assert text.replace(" ", "") in large


def test_whom_the_crew_calls_is_on_every_page(calm_plan, written):
    def document(**work):
        job = calm_plan.job.model_copy(update={"work": Work(**work)})
        return written(dataclasses.replace(calm_plan, job=job))

    given = {"permit_number": "PTW 17/3", "control_room": "ext. 4711", "emergency_phone": "112"}
    filled, blank = document(**given), document()
    for page in range(1, len(filled.pages) + 1):
        assert "Control room ext. 4711 Emergency 112" in filled.text(page)
    assert all(text in filled.text(1) for text in ("Permit to work: PTW 17/3", "In an emergency call: 112"))
    assert "Control room ____" in blank.text(COVER + 1)
    assert "Permit to work: ____" in blank.text(1)


def test_what_a_lead_passes_too_closely_is_told(calm_plan, written):
    first = calm_plan.electrodes.iloc[0]
    mine = (calm_plan.checks["tower_id"] == first["tower_id"]) & (calm_plan.checks["role"] == first["role"])
    row = (
        calm_plan.checks[mine]
        .head(1)
        .assign(rule="lead_beside", measured=0.42, limit=5.0, verdict="compromise", detail="building")
    )
    far = row.assign(role="S" if first["role"] == "H" else "H", measured=9.0, verdict="kept", detail="")
    checks = pd.concat((calm_plan.checks, row, far), ignore_index=True)
    document = written(dataclasses.replace(calm_plan, checks=checks))
    page = COVER + 1 + calm_plan.towers["tower_id"].tolist().index(first["tower_id"])
    told = [
        f"Lead {first['role']} passes building by 0.4 m: keep it off." in document.text(number)
        for number in range(1, len(document.pages) + 1)
    ]
    assert [number for number, is_told in enumerate(told, 1) if is_told] == [page]
    assert "passes by 9.0 m" not in document.text(page)


@pytest.mark.parametrize(("verdict", "told"), [("kept", True), ("broken", False)])
def test_a_lead_that_touches_and_does_not_cross_is_told_too(calm_plan, written, verdict, told):
    """Within the estimated width of a road, for instance; one that crosses is told with the crossings."""
    first = calm_plan.electrodes.iloc[0]
    mine = (calm_plan.checks["tower_id"] == first["tower_id"]) & (calm_plan.checks["role"] == first["role"])
    row = calm_plan.checks[mine].head(1)
    beside = row.assign(rule="lead_beside", measured=0.0, limit=5.0, verdict="compromise", detail="main road")
    crossing = row.assign(rule="lead_crossing", measured=0.0, limit=0.0, verdict=verdict, detail="")
    checks = pd.concat((calm_plan.checks, beside, crossing), ignore_index=True)
    document = written(dataclasses.replace(calm_plan, checks=checks))
    page = COVER + 1 + calm_plan.towers["tower_id"].tolist().index(first["tower_id"])
    assert ("passes main road by 0.0 m: keep it off." in document.text(page)) is told


def test_the_fault_that_governs_is_named_and_the_crew_told_to_stand_clear(calm_plan, written):
    first = calm_plan.leads.iloc[0]
    mine = (calm_plan.leads["line_id"] == first["line_id"]) & (calm_plan.leads["tower_id"] == first["tower_id"])
    leads = calm_plan.leads.copy()
    leads.loc[mine, "fault_location"] = "station Ostrel West"
    leads.loc[mine, "stake_touch_v"] = 2050.0
    document = written(dataclasses.replace(calm_plan, leads=leads))
    text = " ".join(document.text(COVER + 1 + calm_plan.towers["tower_id"].tolist().index(first["tower_id"])).split())
    assert "by a fault at station Ostrel West." in text
    assert (
        "Stand clear of stake and lead: under a fault from the stake to the ground 1 m away H 2050 V, S 2050 V." in text
    )


def test_degrees_and_minutes_are_the_same_place(calm_plan, written):
    document = written(calm_plan)
    stake = calm_plan.electrodes.iloc[0]
    found = re.search(r"H (\d\d)° ([\d.]+)′ N (\d\d)° ([\d.]+)′ E", document.text(COVER + 1))
    lat, lon = (int(found[n]) + float(found[n + 1]) / 60 for n in (1, 3))
    assert (lat, lon) == pytest.approx((stake["lat"], stake["lon"]), abs=0.0005 / 60 + 1e-9)


def test_status_cannot_be_missed(calm_plan, written):
    document = written(calm_plan)
    words = {
        "all rules met": "ALL RULES MET",
        "compromise": "COMPROMISE",
        "needs agreement": "DO NOT STAKE YET",
        "map does not cover": "DO NOT STAKE YET",
        "no layout": "NOTHING TO STAKE HERE",
    }
    assert set(calm_plan.towers["status"]) == set(words)
    for number, status in enumerate(calm_plan.towers["status"], COVER + 1):
        text = document.text(number)
        assert words[status] in text
        assert ("NOT YET" in text) == (status in ("needs agreement", "map does not cover"))


def test_a_tower_without_layout_has_reasons_and_no_stake(calm_plan, written):
    document = written(calm_plan)
    row = calm_plan.towers["status"].tolist().index(NO_LAYOUT)
    text = document.text(COVER + 1 + row)
    assert "left: nothing; right: stake on or near river or canal (100 %)" in text
    assert "a 171 m reel instead of 150 m" in text
    assert "scan for H" not in text
    assert "as staked" not in text


def test_what_has_to_be_agreed_is_numbered(calm_plan, written):
    text = written(calm_plan).text(COVER + 1 + calm_plan.towers["status"].tolist().index("needs agreement"))
    assert "1 Lead H crosses minor road at 43.2 m from the tower. Agreed with" in text
    assert "2 Lead S crosses minor road at 43.2 m from the tower." in text


def test_cover_tells_what_the_plan_is(calm_plan, written):
    document = written(calm_plan)
    front, lists = document.text(1), document.text(2)
    for words in (calm_plan.job.title, "Valley 132", plan_number(calm_plan), "EPSG:32632", "2026-05-04", "WMM-2025",
                  "take precedence", "© OpenStreetMap contributors, ODbL", *calm_plan.cautions):  # fmt: skip
        assert words in front, words
    for number, tower in enumerate(calm_plan.towers["tower_id"], COVER + 1):
        assert re.search(rf"\b{tower} [a-z ]+page {number}\b", lists)


def without_compass(plan):
    none = {
        name: getattr(plan, name).assign(set_out_bearing_magnetic_deg=float("nan")) for name in ("electrodes", "leads")
    }
    return dataclasses.replace(plan, **none)


def test_compass_bearings_only_where_the_plan_has_them(calm_plan, on_day, written):
    with_model = written(calm_plan).text(COVER + 1)
    bearing = re.search(r"Compass bearing (\d{3}\.[05])° (\d{3}\.[05])°", with_model)
    true = re.search(r"True bearing (\d{3}\.\d)° (\d{3}\.\d)°", with_model)
    for place in (1, 2):
        assert (float(true[place]) - float(bearing[place])) % 360 == pytest.approx(1.5, abs=0.4)
    late = without_compass(on_day(calm_plan, dt.date(2031, 5, 4)))
    late = written(late).text(COVER + 1)
    assert "Compass bearing none none" in late
    assert "outside the magnetic model (WMM-2025, valid 2024-11-13 to 2029-12-31)" in late


def test_without_a_day_of_work_the_sheet_says_so(make_plan, written):
    text = written(without_compass(make_plan(2, hostile=False))).text(COVER + 1)
    assert "Compass bearing none none" in text
    assert "The job names no day of work" in text


@pytest.mark.first(1)
@pytest.mark.parametrize(("page", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_paper(calm_plan, on_day, written, page, size):
    document = written(on_day(calm_plan, page=page))
    assert {document.size_mm(number) for number in range(1, 11)} == {document.size_mm(1)}
    assert document.size_mm(1) == pytest.approx(size, abs=0.1)  # ISO 216; ANSI/ASME Y14.1


def test_fonts_are_embedded_and_no_other_is_named(calm_plan, written):
    names = set()
    for page in PdfReader(written(calm_plan).path).pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor
            names.add(descriptor["/FontName"].split("+")[1])
    assert names == {"DejaVuSans", "DejaVuSans-Bold"}


def test_the_same_plan_gives_the_same_bytes(calm_plan, tmp_path):
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        folder.mkdir()
        write_sheets(on_the_globe(calm_plan), folder)
    assert (folders[0] / "sheets.pdf").read_bytes() == (folders[1] / "sheets.pdf").read_bytes()


@pytest.mark.long
@pytest.mark.parametrize(("count", "pages"), some([(101, 3), (230, 4)], 1))
def test_many_towers_make_sections_and_a_longer_list(make_plan, written, count, pages):
    plan = make_plan(count, hostile=False)
    document = written(plan)
    cover = len(document.pages) - count
    assert cover == pages
    assert f"Tower {count}" in document.text(cover + count)
    assert f"page {cover + count} of {cover + count}" in document.text(cover + count)
    lists = " ".join(document.text(page) for page in range(2, cover + 1))
    assert all(f"page {cover + number}" in lists for number in range(1, count + 1))


def test_bookmarks_lead_to_the_towers(calm_plan, written):
    reader = PdfReader(written(calm_plan).path)
    found = {item["/Title"]: reader.get_destination_page_number(item) for item in reader.outline}
    assert found == {f"Tower {name}": COVER + row for row, name in enumerate(calm_plan.towers["tower_id"])}


def test_a_plan_without_stakes_is_written(empty_plan, written):
    document = written(empty_plan)
    assert len(document.pages) == COVER + 2


@pytest.mark.first(1)
@pytest.mark.parametrize(("lon", "lat"), [(180.0, -17.0), (25.0, 71.0), (-70.0, -54.0)])
def test_anywhere_on_the_globe(make_plan, written, lon, lat):
    plan = dataclasses.replace(make_plan(4, lon=lon, lat=lat, hostile=False), grid_crs="EPSG:3857")
    assert "scan for H" in written(plan).text(COVER + 1)


def test_what_does_not_fit_goes_on_right_after_the_tower_s_page(calm_plan, written):
    """Every crossing is told, on the page or on those after it, which bear its number; the others keep theirs."""
    one = calm_plan.crossings
    many = [one.assign(name=f"Lane {n}", feature_id=f"osm way {n}", at_m=n / 2) for n in range(1, 90)]
    number = COVER + 1 + calm_plan.towers["status"].tolist().index("needs agreement")
    document = written(dataclasses.replace(calm_plan, crossings=pd.concat(many, ignore_index=True)))
    further = len(document.pages) - COVER - len(calm_plan.towers)
    assert further >= 1
    pages = [document.text(page) for page in range(number, number + further + 1)]
    assert all("more than fits: see the next page" in page for page in pages[:-1])
    assert "more than fits" not in pages[-1]
    assert all("DO NOT STAKE YET" in page for page in pages)
    total = COVER + len(calm_plan.towers)
    assert all(f"page {number}, continued, of {total}" in page for page in pages[1:])
    told = " ".join(pages)
    assert all(f"Lane {n}'" in told for n in range(1, 90))
    assert "Treat every lead as live" in told
    assert f"page {number + 1} of {total}" in document.text(number + further + 1)
    reader = PdfReader(document.path)
    (mark,) = [item for item in reader.outline if item["/Title"] == f"Tower {calm_plan.towers['tower_id'].iloc[-1]}"]
    assert reader.get_destination_page_number(mark) == len(document.pages) - 1


def test_ground_that_the_map_does_not_cover_is_not_shown_as_clear(calm_plan, written):
    document = written(calm_plan)
    for number, covers in enumerate(calm_plan.towers["map_covers"], COVER + 1):
        assert ("WHAT IS HERE IS NOT KNOWN" in document.text(number)) != covers


def test_ground_of_which_the_map_is_silent_in_parts_is_not_shown_as_clear(calm_plan, written):
    """As on the reviewer's small map: a gap by theme is one as well, though the map reaches the tower."""
    gaps = ["buildings:bare_streets", *[""] * (len(calm_plan.towers) - 1)]
    leads = calm_plan.leads.assign(map_gaps="")
    leads.loc[leads["tower_id"] == calm_plan.towers["tower_id"].iloc[0], ["map_gaps", "status"]] = gaps[0], BREAKS
    towers = calm_plan.towers.assign(map_covers=True, map_gaps=gaps)
    document = written(dataclasses.replace(calm_plan, towers=towers, leads=leads))
    for number, gap in enumerate(gaps, COVER + 1):
        text = document.text(number)
        assert ("NOT ALL THAT IS HERE IS MAPPED: white is not clear ground" in text) == bool(gap)
        assert ("what else is there is NOT KNOWN" in text) == bool(gap)
        assert "WHAT IS HERE IS NOT KNOWN" not in text


def test_a_grid_that_does_not_reach_the_towers_is_left_out(calm_plan, written):
    """A gnomonic grid shows half of the globe only; at 47 degrees north one about the south pole has no place."""
    leads = calm_plan.leads.assign(easting=float("inf"), northing=float("inf"))
    text = written(dataclasses.replace(calm_plan, leads=leads, grid_crs="+proj=gnom +lat_0=-90")).text(COVER + 1)
    assert text.count("outside this system") == 3
    assert "grid: none" in text


@pytest.mark.long
@pytest.mark.shared
def test_a_real_line(shared_data, written, tmp_path):
    """A mountain line of an open map extract, with its elevation model: ids and figures, no page too full."""
    import layoutplan

    root = Path(layoutplan.__file__).parents[1]
    text = (root / "docs" / "examples" / "andorra_150kv.toml").read_text("utf-8")
    text = text.replace("../../../shared/data", str(shared_data))
    job = tmp_path / "job.toml"
    job.write_text(f"{text}\n[work]\nfirst_day = 2026-05-04\n", "utf-8")
    plan = layoutplan.plan(layoutplan.load_job(job))
    document = written(plan)
    cover = len(document.pages) - len(plan.towers)
    pages = [document.text(number) for number in range(cover + 1, len(document.pages) + 1)]
    for name, page in zip(plan.towers["tower_id"], pages, strict=True):
        assert f"Tower {name} " in page
        assert "more than fits" not in page
    page_of = dict(zip(plan.towers["tower_id"], pages, strict=True))
    for stake in plan.electrodes.itertuples():
        assert f"E {stake.easting:.1f} N {stake.northing:.1f}" in page_of[stake.tower_id]
        assert metres(stake.lead_length_m) in page_of[stake.tower_id]


def test_permissions_for_ways_are_to_be_agreed(make_plan, written):
    """A page on which somebody must be asked never says that nothing is to be agreed."""
    plan = make_plan(8, hostile=False)
    document = written(plan)
    cover = len(document.pages) - len(plan.towers)
    for number, name in enumerate(plan.towers["tower_id"], cover + 1):
        ways = plan.approaches[plan.approaches["tower_id"] == name]
        asks, text = (ways["verdict"] == "needs permission").any(), " ".join(document.text(number).split())
        if (plan.electrodes["tower_id"] == name).any():
            assert ("needs permission: protected area" in text) == asks
            assert not (asks and "Nothing as far as the map shows" in text)
        assert ("scan for the drop-off" in text) == ways["drop_off_lat"].notna().any()


def test_the_legend_has_room_for_all_its_entries():
    """Its last row lies above whatever follows: the height asked for is the height drawn."""
    from layoutplan.job.class_model import PaperLine
    from layoutplan.outputs.sheets import legend
    from layoutplan.outputs.sheets.pen import Box

    class Recorder:
        """Notes the lowest place that anything is written at."""

        lowest = 1e9

        fonts = Fonts()

        def text(self, _x, y, *_args, **_kwargs):
            self.lowest = min(self.lowest, y)

        def __getattr__(self, _name):
            return lambda *_args, **_kwargs: nullcontext()

    for count in (0, 1, 2, 3, 20):
        look = PaperLine(line="#777777", width=1)
        pen, classes = Recorder(), {f"class {i}": (f"label {i}", look) for i in range(count)}
        height = legend.legend_height(count)
        legend.draw_legend(pen, Box(0.0, 0.0, 180.0, height), classes)
        assert pen.lowest >= 1.0, count


def legend_of(text):
    return text[text.index("tower; dot: leg") : text.index("degrees and minutes, WGS 84")]


def test_each_page_explains_the_signs_that_are_on_it(calm_plan, written):
    """The words are those of the cover, and what is not on the page is not among them."""
    document = written(calm_plan)
    cover = document.text(2)
    labels = set(calm_plan.obstacles["label"])
    for number, tower in enumerate(calm_plan.towers["tower_id"], COVER + 1):
        legend = legend_of(document.text(number))
        mine = calm_plan.electrodes["tower_id"] == tower
        status = calm_plan.electrodes[mine].set_index("role")["status"]
        for role, name in (("H", "stake of H (current)"), ("S", "stake of S (potential)")):
            assert (f"lead of {role}" in legend) == (role in status)
            assert (name in legend) == (role in status and may_stake(status[role]))
        assert ("NOT to be staked" in legend) == any(not may_stake(one) for one in status)
        assert "contour" not in legend  # no elevation model
        shown = {label for label in labels if label in legend}
        assert shown
        assert all(label in cover for label in shown)


def test_a_sign_is_in_the_legend_only_where_it_is_on_the_map(calm_plan, written):
    """One building, at the first tower: it is explained there and nowhere else."""
    first = calm_plan.towers.iloc[0]
    others = calm_plan.obstacles["obstacle_class"] != "building"
    near = calm_plan.obstacles[others].head(1)
    spot = shapely.box(first["lon"] + 1e-4, first["lat"], first["lon"] + 2e-4, first["lat"] + 1e-4)
    one = near.assign(obstacle_class="building", label="building").set_geometry([spot], crs=near.crs)
    obstacles = pd.concat((calm_plan.obstacles[others], one), ignore_index=True)
    document = written(dataclasses.replace(calm_plan, obstacles=obstacles))
    found = ["building" in legend_of(document.text(COVER + 1 + row)) for row in range(len(calm_plan.towers))]
    assert found[0]
    assert not any(found[2:])  # the next tower may see it


def test_without_a_compass_the_true_bearing_is_what_is_set_out_by(calm_plan, make_plan, written):
    """Bold and large, and in the diagram no arrow to magnetic north but the reason."""
    document = written(without_compass(make_plan(2, hostile=False)))
    text = document.text(COVER + 1)
    assert "magnetic left out: The" in text
    assert "MN magnetic" not in text
    large = "".join(letter for letter, size in document.letters(COVER + 1) if 9.99 < size < 11)
    stake = make_plan(2, hostile=False).leads.iloc[0]
    assert three_digits(stake["set_out_bearing_deg"]).replace(" ", "") in large
    dated = written(calm_plan)
    assert re.search(r"GN grid \d+\.\d\d° [EW] MN magnetic \d+\.[05]° [EW] WMM-2025, 2026-05-04", dated.text(COVER + 1))


def test_the_cover_s_map_names_every_tower(calm_plan, written):
    text = written(calm_plan).text(1)
    after = text[text.index("Look before you stake") :]
    assert all(re.search(rf"(?<!\d){tower}(?!\d)", after) for tower in calm_plan.towers["tower_id"])
    assert "too close to others" not in text


@pytest.mark.long
def test_towers_that_cannot_be_named_are_counted(make_plan, written):
    text = written(with_many := make_plan(230, hostile=False)).text(1)
    (left,) = re.findall(r"(\d+) towers? too close to others to be named", text)
    named = {
        name
        for name in with_many.towers["tower_id"]
        if re.search(rf"(?<!\d){name}(?!\d)", text[text.index("Look before") :])
    }
    assert len(named) >= 230 - int(left) - 3
    assert 0 < int(left) < 200


def texts_on(page):
    """Text objects of a page that are filled, with their boxes. [points]."""
    out = []
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
        if raw.FPDFTextObj_GetTextRenderMode(item.raw) == raw.FPDF_TEXTRENDERMODE_FILL:
            out.append(item.get_bounds())
    return np.array(out)


@pytest.mark.long
@pytest.mark.parametrize("dated", [True, False])
def test_no_writing_lies_over_other_writing(sample_plan, on_day, written, dated):
    """On every page of the sample but for the status signs of towers that stand close together on the cover."""
    plan = sample_plan if dated else without_compass(on_day(sample_plan, None, page="Letter"))
    document = written(plan)
    for number, page in enumerate(document.pages[1:], 2):
        boxes = texts_on(page)
        assert len(boxes) > 50
        low = np.maximum(boxes[:, None, :2], boxes[None, :, :2])
        high = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:])
        over = np.triu(((high - low) > 0.5).all(axis=2), 1)
        assert not over.any(), (number, np.argwhere(over)[:3].tolist())
