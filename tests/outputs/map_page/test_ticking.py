"""What is ticked off on the telephone: kept there, taken home in a file, held against the plan by check."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pyogrio
import pytest
from click.testing import CliRunner
from geographiclib.geodesic import Geodesic
from selenium.webdriver.common.by import By

from layoutplan.cli.main import cli
from layoutplan.layout.model import Plan
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.write import write_plan
from layoutplan.text import clean

from .pages import on_telephone, open_page, press, text, wait
from .test_location import allow, stand

pytestmark = pytest.mark.browser
HOSTILE = '=HYPERLINK("http://x","y");a,b\t<img src=x onerror=alert(1)>\u001b[31m{{7*7}}\n\u20282'
SHOWN = '=HYPERLINK("http://x","y");a,b <img src=x onerror=alert(1)> [31m{{7*7}} 2'
REFUSES = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } });"


@pytest.fixture(autouse=True)
def _forget(browser) -> Iterator[None]:
    yield
    browser.execute_script("try { localStorage.clear(); } catch {}")
    browser.execute_cdp_cmd("Emulation.clearGeolocationOverride", {})
    browser.execute_cdp_cmd("Browser.resetPermissions", {})


@pytest.fixture(scope="module")
def written(sample_plan_with: Callable[..., Plan], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    write_plan(sample_plan_with(formats=("gpkg", "json", "map")), folder)
    return folder


def open_map(browser, folder: Path) -> None:
    on_telephone(browser)
    browser.get((folder / "map.html").as_uri())
    wait(browser, "return typeof layoutplan !== 'undefined' && !!layoutplan.page")


def choose(browser, tower: str) -> None:
    browser.execute_script(
        "const { chooser } = layoutplan.page; chooser.go(chooser.towers.findIndex(({ id }) => id === arguments[0]))",
        tower,
    )


def tick(browser, role: str, state: str = "", note: str = "", position: bool = False) -> None:
    """As a thumb would; control characters, which no key types, by the clipboard's way."""
    press(browser, f"tick-{role}")
    if state:
        browser.find_element(By.CSS_SELECTOR, f"#tick input[value={state}]").click()
    if note:
        browser.execute_script(
            "const note = document.getElementById('tick-note'); note.value = arguments[0];"
            "note.dispatchEvent(new Event('input'));",
            note,
        )
    if position:
        press(browser, "tick-take")
        wait(browser, "return !document.getElementById('tick-keep').hidden")
        press(browser, "tick-keep")
    press(browser, "tick-done")


def saved(browser, folder: Path) -> Path:
    """The file that the page gives to the browser."""
    browser.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(folder)})
    if browser.execute_script("return document.getElementById('list').hidden"):
        press(browser, "open-list")
    press(browser, "save")
    wait(browser, "return document.getElementById('sent').textContent.includes('was given to the browser')")
    name = browser.execute_script("return document.getElementById('sent').textContent").split(" ")[0]
    for _ in range(600):
        if (folder / name).exists():
            break
        browser.execute_async_script("setTimeout(arguments[0], 100)")
    return folder / name


@pytest.mark.long
def test_from_the_page_to_the_report(browser, written, tmp_path) -> None:
    number = json.loads((written / "plan.json").read_text("utf-8"))["plan_number"]
    stake = pyogrio.read_dataframe(written / "plan.gpkg", layer="electrodes").to_crs(4326).set_index("waypoint")
    planned = stake.geometry["102-H"]
    there = Geodesic.WGS84.Direct(planned.y, planned.x, 90, 3.0)
    open_map(browser, written)
    allow(browser)
    stand(browser, there["lat2"], there["lon2"], 4.2)
    choose(browser, "102")
    tick(browser, "H", "measured", HOSTILE, position=True)
    tick(browser, "S", "measured", "no sky")
    choose(browser, "103")
    tick(browser, "H", "failed", "rock; no rod")
    tick(browser, "S", "again")
    choose(browser, "104")
    tick(browser, "S", note="gate locked")
    browser.refresh()
    wait(browser, "return typeof layoutplan !== 'undefined' && !!layoutplan.page")
    choose(browser, "102")
    assert text(browser, "tick-H").startswith("H: measured ")
    assert text(browser, "tick-H").endswith("position taken, accuracy 5 m, note")
    assert text(browser, "tick-S").endswith("no position taken, note")
    press(browser, "tick-H")
    assert browser.execute_script("return document.getElementById('tick-note').value") == HOSTILE
    assert "accuracy 5 m; 3.0 m from the planned place, within that accuracy" in text(browser, "tick-position")
    press(browser, "tick-done")

    path = saved(browser, tmp_path)
    assert path.name.startswith(f"staked_{number}_")
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))
    assert [row["name"] for row in rows] == ["102-H", "102-S", "103-H", "103-S", "104-S"]
    assert {row["plan_number"] for row in rows} == {number}
    assert rows[0]["note"] == f"'{SHOWN}", "one line, and nothing that a spreadsheet would run"
    assert all(len(row) == len(rows[0]) for row in rows)
    assert "5 of 52 stakes ticked off: 2 measured, 1 failed, 1 again; 1 with a position." in text(browser, "list")

    run = CliRunner().invoke(cli, ["check", str(written), "--staked", str(path), "--out", str(tmp_path / "check")])
    assert run.exit_code == 0, run.output
    report = run.output.splitlines()
    assert report[0] == (
        "1 stake checked: 1 moved or new, 0 break rules, 51 not surveyed yet, of these 3 reported without a position: "
        "planned place not confirmed"
    )
    assert "  102-H: 3.00 m at 90 degrees from where it was planned, known to 4.2 m" in report
    told = [line.split(" at ")[0].strip() for line in report[report.index("reported:") + 1 :][:5]]
    assert told == ["102-H: measured", "102-S: measured", "103-H: failed", "103-S: again", "104-S: no state"]
    assert any(line.endswith(f'position taken, known to 4.2 m; note: "{SHOWN}"') for line in report)
    assert any(line.endswith('planned place not confirmed; note: "no sky"') for line in report)
    assert any(line.endswith('no stake stands there; note: "rock; no rod"') for line in report)
    assert browser.execute_script("return window.alerts") == []
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_hostile_names_in_list_dialog_and_file(browser, make_plan, tmp_path) -> None:
    plan = make_plan(14)
    open_page(browser, plan, tmp_path)
    press(browser, "open-list")
    for place in range(14):
        browser.execute_script("layoutplan.page.chooser.go(arguments[0])", place)
        if browser.find_element("id", "tick-H").is_displayed():
            tick(browser, "H", "staked", HOSTILE)
    names = set(
        browser.execute_script("return [...document.querySelectorAll('#list *, #tick *')].map((e) => e.localName)")
    )
    assert not names & {"img", "iframe", "script"}
    rows = list(csv.reader(io.StringIO(saved(browser, tmp_path).read_text("utf-8-sig"))))
    stakes = plan.electrodes[plan.electrodes["role"] == "H"]
    assert [row[3].removeprefix("'") for row in rows[1:]] == [
        " ".join(clean(name).split()) for name in stakes["tower_id"]
    ]
    assert not any(cell.startswith(("=", "+", "@", "|", "%", ";")) for row in rows for cell in row)
    assert browser.execute_script("return window.alerts") == []
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_check_refuses_the_file_of_another_plan(browser, make_plan, written, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    choose(browser, "001")
    tick(browser, "H", "measured")
    path = saved(browser, tmp_path)
    run = CliRunner().invoke(cli, ["check", str(written), "--staked", str(path), "--out", str(tmp_path / "check")])
    assert run.exit_code == 2
    assert "carries the number of another plan" in run.output


@pytest.mark.long
def test_each_plan_has_its_own_ticks(browser, make_plan, tmp_path) -> None:
    plan, other = make_plan(4, hostile=False), make_plan(4, hostile=False, lat=48.0)
    assert plan_number(plan) != plan_number(other)
    open_page(browser, plan, tmp_path)
    choose(browser, "001")
    tick(browser, "H", "staked")
    (tmp_path / "other").mkdir()
    open_page(browser, other, tmp_path / "other")
    choose(browser, "001")
    assert text(browser, "tick-H") == "Tick off H"
    open_page(browser, plan, tmp_path)
    choose(browser, "001")
    assert text(browser, "tick-H").startswith("H: staked ")


def test_what_is_ticked_in_another_window_is_there(browser, make_plan, tmp_path) -> None:
    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path)
    choose(browser, "001")
    told = json.dumps({"state": "failed", "time": "2026-05-01T08:00:00Z", "note": "", "position": None})
    browser.execute_script(
        "dispatchEvent(new StorageEvent('storage', { key: arguments[0], newValue: arguments[1] }))",
        f"layoutplan/{plan_number(plan)}/001-H",
        told,
    )
    assert text(browser, "tick-H").startswith("H: failed 2026-05-01 ")


@pytest.mark.long
def test_storage_that_is_refused(browser, make_plan, tmp_path) -> None:
    script = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": REFUSES})
    try:
        open_page(browser, make_plan(4, hostile=False), tmp_path)
        choose(browser, "001")
        tick(browser, "H", "staked", "here")
        assert text(browser, "tick-H").startswith("H: staked "), "for as long as the page is open"
        press(browser, "open-list")
        assert text(browser, "kept").startswith("This browser keeps nothing for this page")
        assert "Save the file" in text(browser, "kept")
        path = saved(browser, tmp_path)
        assert '"001-H"' in path.read_text("utf-8")
        assert browser.get_log("browser") == []
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", {"identifier": script["identifier"]})
        browser.execute_script("window.onbeforeunload = null")
        browser.get("about:blank")
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    choose(browser, "001")
    assert text(browser, "tick-H") == "Tick off H"


@pytest.mark.long
def test_a_storage_that_is_full_is_said(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    choose(browser, "001")
    browser.execute_script(
        "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }"
    )
    press(browser, "tick-H")
    assert text(browser, "tick-kept").startswith("Kept in this browser")
    browser.find_element(By.CSS_SELECTOR, "#tick input[value=staked]").click()
    assert text(browser, "tick-kept").startswith("This browser keeps nothing")
    press(browser, "tick-done")
    assert text(browser, "tick-H").startswith("H: staked ")
    saved(browser, tmp_path)  # else the browser asks whether to leave the page


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "stored",
    [
        "no json", "null", "7", '{"state":"<b>"}', '{"note":5,"position":{"lat":"9","lon":9}}',
        '{"state":"constructor","time":"never","position":{"lat":999,"lon":9,"accuracy":1}}',
    ],
)  # fmt: skip
def test_what_another_page_wrote_is_not_believed(browser, make_plan, tmp_path, stored) -> None:
    """Pages opened from files share one storage in some browsers."""
    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path)
    browser.execute_script(
        "localStorage.setItem(arguments[0], arguments[1])", f"layoutplan/{plan_number(plan)}/001-H", stored
    )
    browser.refresh()
    wait(browser, "return typeof layoutplan !== 'undefined' && !!layoutplan.page")
    choose(browser, "001")
    assert text(browser, "tick-H") == "Tick off H"
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_no_position_without_being_asked_for(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    browser.execute_script("""
      window.asked = 0;
      for (const name of ["watchPosition", "getCurrentPosition"])
        navigator.geolocation[name] = () => { window.asked++; return 1; };""")
    choose(browser, "001")
    tick(browser, "H", "measured", "note")
    press(browser, "open-list")
    assert browser.execute_script("return window.asked") == 0
    press(browser, "close-list")
    press(browser, "tick-H")
    press(browser, "tick-take")
    assert browser.execute_script("return window.asked") == 1
    press(browser, "tick-done")
    assert browser.execute_script("return layoutplan.records.of('001-H').position") is None


@pytest.mark.long
def test_refused_position_leaves_the_rest(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    allow(browser, "denied")
    choose(browser, "001")
    press(browser, "tick-H")
    press(browser, "tick-take")
    wait(browser, "return document.getElementById('tick-position').textContent.includes('refuses')")
    browser.find_element(By.CSS_SELECTOR, "#tick input[value=staked]").click()
    press(browser, "tick-done")
    assert text(browser, "tick-H").endswith("no position taken")


@pytest.mark.long
def test_a_position_far_from_the_stake_is_asked_about_and_can_be_forgotten(browser, make_plan, tmp_path) -> None:
    plan = make_plan(4, hostile=False)
    stake = plan.electrodes.iloc[0]
    open_page(browser, plan, tmp_path)
    allow(browser)
    stand(browser, stake.lat + 0.01, stake.lon, 5.0)
    choose(browser, "001")
    tick(browser, "H", "staked", position=True)
    press(browser, "tick-H")
    assert "Is this the right stake?" in text(browser, "tick-position")
    press(browser, "tick-drop")
    assert text(browser, "tick-position").startswith("No position taken")
    press(browser, "tick-done")
    assert text(browser, "tick-H").endswith("no position taken")


@pytest.mark.long
def test_an_old_position_is_not_kept(browser, make_plan, tmp_path) -> None:
    plan = make_plan(4, hostile=False)
    stake = plan.electrodes.iloc[0]
    open_page(browser, plan, tmp_path)
    allow(browser)
    stand(browser, stake.lat, stake.lon, 5.0)
    choose(browser, "001")
    press(browser, "tick-H")
    press(browser, "tick-take")
    wait(browser, "return !document.getElementById('tick-keep').hidden")
    browser.execute_script("const real = Date.now; Date.now = () => real() + 45000;")
    press(browser, "tick-keep")
    assert "s old: stand at the stake" in text(browser, "tick-position")
    assert browser.execute_script("return layoutplan.records.of('001-H').position") is None
    press(browser, "tick-done")


@pytest.mark.long
def test_the_share_sheet_gets_the_same_file(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    browser.execute_script("""
      Object.assign(navigator, { canShare: ({ files }) => files.length === 1 });
      navigator.share = async ({ files: [file] }) => { window.shared = [file.name, file.type, await file.text()]; };""")
    choose(browser, "001")
    tick(browser, "H", "measured", HOSTILE)
    press(browser, "open-list")
    press(browser, "share")
    wait(browser, "return document.getElementById('sent').textContent.endsWith('was shared.')")
    name, kind, words = browser.execute_script("return window.shared")
    assert (name[-4:], kind) == (".csv", "text/csv")
    assert words.lstrip("\ufeff") == saved(browser, tmp_path).read_bytes().decode("utf-8-sig")
