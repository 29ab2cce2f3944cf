"""Finding towers on the page: search, one after the other, by status; at a desk and on a telephone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import ALL_MET, NO_LAYOUT
from layoutplan.layout.set_out import set_out, warning
from layoutplan.outputs.map_page.styles import PLAN_STYLES, SIGNS
from layoutplan.text import clean

from .pages import counts, on_desk, on_telephone, open_page, press, strangers, text, wait

pytestmark = pytest.mark.browser
SCREENS = pytest.mark.parametrize("screen", [on_desk, on_telephone])
CHOSEN = (
    "const { chooser } = layoutplan.page; return chooser.chosen === null ? null : chooser.towers[chooser.chosen].id"
)


def two_lines(plan: Plan) -> Plan:
    """Towers 005 to 008 become 001 to 004 of a second line."""
    tables = ("towers", "electrodes", "leads", "approaches", "alternatives")
    changed = {}
    for name in tables:
        table = getattr(plan, name)
        second = table["tower_id"] >= "005"
        ids = table["tower_id"].where(~second, [f"{(int(number) - 1) % 4 + 1:03d}" for number in table["tower_id"]])
        changed[name] = table.assign(tower_id=ids, line_id=table["line_id"].where(~second, "Hill 110"))
    return replace(plan, **changed)


def listed(browser) -> list[str]:
    return browser.execute_script("return [...document.querySelectorAll('#found button')].map((b) => b.textContent)")


def of_the_plan(browser) -> dict[str, int]:
    """What is drawn of the plan itself; of the base map only what is in view is there."""
    return {kind: number for kind, number in counts(browser).items() if kind in SIGNS or kind in PLAN_STYLES}


def warning_before(stake) -> str:
    return f"{told}." if (told := warning(stake.status)) else ""


def type_in(browser, letters: str) -> None:
    find = browser.find_element("id", "find")
    find.clear()
    find.send_keys(letters)


def in_view(browser, lon: float, lat: float) -> bool:
    return browser.execute_script(
        "return layoutplan.page.map.getBounds().contains([arguments[1], arguments[0]])", lon, lat
    )


@pytest.mark.first(1)
@SCREENS
def test_search_by_part_of_an_id(browser, make_plan, tmp_path, screen) -> None:
    plan = make_plan(30, hostile=False)
    path = open_page(browser, plan, tmp_path, screen)
    type_in(browser, "2")
    found = [entry.split(" ")[0] for entry in listed(browser)]
    assert found == [name for name in plan.towers["tower_id"] if "2" in name]
    type_in(browser, "02")
    assert [entry.split(" ")[0] for entry in listed(browser)][:2] == ["020", "021"], "beginnings first"
    type_in(browser, "14\n")
    assert browser.execute_script(CHOSEN) == "014"
    assert text(browser, "card-name") == "Tower 014"
    assert text(browser, "found") == ""
    stakes = plan.electrodes[plan.electrodes["tower_id"] == "014"]
    assert plan.towers["status"].iloc[13] != NO_LAYOUT
    assert all(in_view(browser, stake.lon, stake.lat) for stake in stakes.itertuples())
    for stake in stakes.itertuples():
        words = f"{stake.waypoint}, {stake.side} side, to the {stake.octant}: {set_out(stake).line}"
        assert text(browser, f"plan-{stake.role}") == " ".join(filter(None, (warning_before(stake), words)))
    assert strangers(browser, path) == []
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_search_with_several_lines(browser, make_plan, tmp_path) -> None:
    open_page(browser, two_lines(make_plan(8, hostile=False)), tmp_path)
    type_in(browser, "003")
    assert listed(browser) == ["003 · Valley 132 · compromise", "003 · Hill 110 · all rules met"]
    type_in(browser, "hill 3")
    assert listed(browser) == ["003 · Hill 110 · all rules met"]
    type_in(browser, "3 valley")
    assert listed(browser)[0] == "003 · Valley 132 · compromise", "what is in the id goes before 3 in '132'"
    type_in(browser, "003")
    browser.find_element("id", "find").send_keys("\ue015\n")  # arrow down, enter
    assert text(browser, "card-place") == "Hill 110, 7 of 8"
    type_in(browser, "nowhere")
    assert text(browser, "found") == "No tower id contains this."


@pytest.mark.long
def test_a_long_list_says_how_much_is_left(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(100, hostile=False), tmp_path)
    type_in(browser, "0")
    assert len(listed(browser)) == 40
    ids = [f"{number:03d}" for number in range(1, 101)]
    assert f"{sum('0' in name for name in ids) - 40} more; type more of the id." in text(browser, "found")


@pytest.mark.first(1)
@SCREENS
def test_one_tower_after_the_other(browser, make_plan, tmp_path, screen) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path, screen)
    seen = []
    while browser.find_element("id", "next").is_enabled():
        press(browser, "next")
        seen.append(browser.execute_script(CHOSEN))
        tower = plan.towers.iloc[len(seen) - 1]
        assert in_view(browser, tower["lon"], tower["lat"])
    assert seen == plan.towers["tower_id"].tolist(), "the order of the line, not that of drawing"
    press(browser, "previous")
    assert browser.execute_script(CHOSEN) == "007"
    press(browser, "close-card")
    assert text(browser, "card") == ""
    press(browser, "previous")
    assert browser.execute_script(CHOSEN) == "008"


@pytest.mark.long
@SCREENS
def test_filter_by_status(browser, make_plan, tmp_path, screen) -> None:
    plan = make_plan(14, hostile=False)
    open_page(browser, plan, tmp_path, screen)
    if screen is on_telephone:
        browser.find_element("css selector", "#panel summary").click()
    before = of_the_plan(browser)
    browser.find_element("css selector", f"input[data-status='{ALL_MET}']").click()
    left = plan.towers[plan.towers["status"] != ALL_MET]
    assert text(browser, "filtered-count") == f"Only {len(left)} of 14 towers shown"
    after = of_the_plan(browser)
    assert ALL_MET not in after
    for status in set(left["status"]):
        assert after[status] == before[status]
    drawn = {role: after.get(role, 0) + after.get(f"{role} not yet", 0) for role in "HS"}
    assert drawn["H"] == drawn["S"] == int((plan.electrodes["status"] != ALL_MET).sum() / 2)
    assert sum(after[kind] for kind in after if kind.startswith("lead ")) == 2 * drawn["H"]
    assert after["span"] == before["span"]
    if screen is on_telephone:
        browser.find_element("css selector", "#panel summary").click()
    seen = []
    while browser.find_element("id", "next").is_enabled():
        press(browser, "next")
        seen.append(browser.execute_script(CHOSEN))
    assert seen == left["tower_id"].tolist()
    hidden = plan.towers["tower_id"].iloc[0]
    type_in(browser, hidden)
    assert listed(browser)[0] == f"{hidden} · {ALL_MET} · filtered out"
    press(browser, "found-0")
    assert browser.execute_script(CHOSEN) == hidden
    assert of_the_plan(browser) == before
    assert text(browser, "filtered") == ""
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_a_filter_leaves_no_card_of_a_hidden_tower(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(8, hostile=False), tmp_path)
    type_in(browser, "001\n")
    browser.find_element("css selector", f"input[data-status='{ALL_MET}']").click()
    assert browser.execute_script(CHOSEN) is None
    press(browser, "show-all")
    assert text(browser, "filtered") == ""
    assert all(box.is_selected() for box in browser.find_elements("css selector", "#statuses input"))


@pytest.mark.long
@SCREENS
def test_hostile_names_in_list_and_card(browser, make_plan, tmp_path, hostile_texts, screen) -> None:
    plan = two_lines_of_hostile(make_plan(14))
    path = open_page(browser, plan, tmp_path, screen)
    type_in(browser, "valley")
    assert len(listed(browser)) == 14
    for place, hostile in enumerate(hostile_texts, start=1):
        browser.execute_script("layoutplan.page.chooser.go(arguments[0])", place)
        assert text(browser, "card-name") == " ".join(f"Tower {clean(hostile)}".split())
    type_in(browser, "IMG SRC=X")
    assert [entry.split(" · ")[0] for entry in listed(browser)] == ["</script><img src=x onerror=alert(1)>"]
    names = set(browser.execute_script("return [...document.querySelectorAll('#bar *')].map((e) => e.localName)"))
    assert not names & {"img", "iframe", "script"}
    assert browser.execute_script("return window.alerts") == []
    assert strangers(browser, path) == []
    assert browser.get_log("browser") == []


def two_lines_of_hostile(plan: Plan) -> Plan:
    """The first tower on a line of its own, so that the names of lines are shown."""
    changed = {}
    for name in ("towers", "electrodes", "leads", "approaches", "alternatives"):
        table = getattr(plan, name)
        names = table["line_id"].mask(table["tower_id"] == "001", "valley <img src=y onerror=alert(3)>")
        changed[name] = table.assign(line_id=names)
    return replace(plan, **changed)


@pytest.mark.long
def test_details_open_what_is_known_of_the_tower(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(8, hostile=False), tmp_path, on_telephone)
    type_in(browser, "005\n")
    assert text(browser, "plan-H") == "no stake planned"
    press(browser, "details")
    wait(browser, "return (document.querySelector('.leaflet-popup-content h3') || {}).textContent === 'Tower 005'")
    assert text(browser, "card") == "", "the pop-up takes the card's place"
    browser.execute_script("layoutplan.page.map.closePopup()")
    assert text(browser, "card-name") == "Tower 005"
