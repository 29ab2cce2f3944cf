"""map.html as text: inert, offline, the same each time."""

import hashlib
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from importlib.resources import files
from types import SimpleNamespace

import folium
import numpy as np
import pytest

from layoutplan.electrical import LeadLevel
from layoutplan.job import shipped_classes
from layoutplan.layout.levels import LEAD_LEVELS, known_level
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.map_page import electrical_rows, layers, surroundings, write_map
from layoutplan.outputs.map_page.electrical_rows import lead_texts, rods_text, tower_labels, tower_texts
from layoutplan.outputs.map_page.page import OfflineMap
from layoutplan.outputs.map_page.styles import PLAN_STYLES, SIGNS, base_styles
from layoutplan.text import clean, page_text

COMMAND = "{{cycler.__init__.__globals__.os.popen(dict(id=1)|join).read()}}"

TOUCH = "EN 50522 (IEC 61936-1), permissible touch voltage (values from memory)"


def page(plan, folder) -> str:
    return write_map(plan, folder).read_text("utf-8")


@pytest.mark.skipif(os.name != "posix", reason="needs the command 'id'")
def test_no_text_runs_as_a_template(make_plan, tmp_path) -> None:
    control = [
        sys.executable,
        "-c",
        "import sys; from branca.element import Element; print(Element(sys.argv[1]).render())",
    ]
    run = subprocess.run([*control, COMMAND], capture_output=True, text=True, check=True)
    assert "uid=" in run.stdout, "the control: this text runs where nothing is done about it"
    plan = make_plan(14)
    assert COMMAND in set(plan.towers["tower_id"])
    assert COMMAND in set(plan.obstacles["name"])
    text = page(plan, tmp_path)
    assert "uid=" not in text
    assert page_text(COMMAND) in text


def test_hostile_text_is_inert_everywhere(make_plan, tmp_path, hostile_texts) -> None:
    text = page(make_plan(14), tmp_path)
    for hostile in hostile_texts:
        inert = page_text(clean(hostile))
        assert inert in text
        if inert != clean(hostile):
            assert clean(hostile) not in text
    assert "{{7*7}}" not in text
    assert "<img src=x" not in text


class _Loads(HTMLParser):
    """Everything a browser would fetch, and every policy."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.policies: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [f"{tag} {value}" for key, value in attrs if key in ("src", "href") and value]
        if dict(attrs).get("http-equiv") == "Content-Security-Policy":
            self.policies.append(str(dict(attrs)["content"]))


def test_nothing_to_fetch(plan, tmp_path) -> None:
    loads = _Loads()
    loads.feed(page(plan, tmp_path))
    assert loads.found == []
    (policy,) = loads.policies
    assert "default-src 'none'" in policy
    css = re.findall(r"url\((?!data:)(.{0,40})", page(plan, tmp_path))
    assert all(target.startswith("#") for target in css), css  # Leaflet's VML rule for a browser of 2009


@pytest.mark.parametrize(
    "stranger", [folium.TileLayer("OpenStreetMap"), folium.Marker([0, 0], popup="x")], ids=["tiles", "popup"]
)
def test_what_needs_the_network_is_refused(stranger) -> None:
    page_map = OfflineMap(tiles=None)
    stranger.add_to(page_map)
    with pytest.raises(ValueError, match="without network"):
        page_map.to_html("title", "", "", "")


def test_leaflet_is_the_published_release() -> None:
    """Leaflet 1.9.4 as published on npm; the digests were taken from the wheel and compared with npm's by hand."""
    folder = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    digests = {
        name: hashlib.sha256((folder / name).read_bytes()).hexdigest()[:12] for name in ("leaflet.js", "leaflet.css")
    }
    assert digests == {"leaflet.js": "db49d009c841", "leaflet.css": "a78371028241"}


def test_the_licence_goes_along(plan, tmp_path) -> None:
    assert "BSD 2-Clause" in page(plan, tmp_path)


def test_same_plan_same_bytes(make_plan, tmp_path) -> None:
    first = write_map(make_plan(14), tmp_path).read_bytes()
    assert write_map(make_plan(14), tmp_path).read_bytes() == first


def test_what_a_crew_must_read_is_there(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    text = page(plan, tmp_path)
    for caution in plan.cautions:
        assert page_text(caution) in text
    assert "<title>Valley line, autumn campaign</title>" in text
    assert "a 171 m reel instead of 150 m" in text
    assert "underground cables: unknown (no map of cables)" in text
    assert "not mapped" in text


def test_every_class_and_status_has_a_look() -> None:
    assert set(base_styles(shipped_classes())) == set(shipped_classes())
    assert set(STATUSES) | {"H", "S"} <= set(SIGNS)
    shapes = [str(SIGNS[status]["points"]) for status in (*STATUSES, "H", "S")]
    assert len(set(shapes)) == len(shapes), "two signs would differ by colour alone"


def grey(color: str) -> float:
    red, green, blue = (int(color[place : place + 2], 16) for place in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue  # ITU-R BT.601


def test_no_two_levels_of_leads_look_alike_in_grey() -> None:
    looks = {level: PLAN_STYLES[f"lead {level}"] for level in LEAD_LEVELS}
    marks = [(look.get("dashArray"), look["weight"]) for look in looks.values()]
    assert len(set(marks)) == len(marks), "two levels would differ by colour alone"
    width = {level: look["casing"] for level, look in looks.items()}
    assert width["below"] < width["near"] <= width["unknown"] < width["above"]
    contrast = {level: grey(look["color"]) - grey("#111111") for level, look in looks.items()}
    assert contrast["unknown"] > contrast["near"] > contrast["below"] + 50, "unknown must not look calmer than near"


def test_levels_follow_the_ratios(plan) -> None:
    """The level is a fact of its own; what the crew is told follows from it, and nothing from the sentence."""
    assert set(LeadLevel) == set(LEAD_LEVELS)
    assert known_level("") == known_level("harmless") == known_level(None) == known_level(np.nan) == "unknown"
    for ending, name in (("", "service"), ("_fault", "fault")):
        ratio, found = plan.leads[f"{name}_ratio"], plan.leads[f"lead_level{ending}"]
        expected = np.select([ratio.isna(), ratio > 1, ratio > 0.5], ["unknown", "above", "near"], "below")
        assert found.tolist() == expected.tolist()
        assert [LeadLevel(each).handling for each in found] == plan.leads[f"handling{ending}"].tolist()
    assert set(plan.leads["lead_level"]) == set(LEAD_LEVELS)


def test_legend_of_the_leads(plan, tmp_path) -> None:
    text = " ".join(page(plan, tmp_path).split())
    service, fault = (plan.leads[name].value_counts() for name in ("lead_level", "lead_level_fault"))
    for level, words in LEAD_LEVELS.items():
        counts = f"<td><b>{service.get(level, 0)}</b></td><td><b>{fault.get(level, 0)}</b></td>"
        assert f'<canvas data-line="lead {level}"></canvas></td>{counts}<th scope="row">{words}</th>' in text
    assert "Under an earth fault or lightning every lead can carry the tower's potential" in text
    assert f"{TOUCH}: 2010, Table B.3; from memory" in text


def test_never_a_verdict_of_safety(make_plan, tmp_path) -> None:
    assert not re.search(r"\bsafe(ly|ty)?\b", _own_text(page(make_plan(14), tmp_path)), re.IGNORECASE)


def _own_text(text: str) -> str:
    """The page from its panel on, without Leaflet."""
    return text[text.index("<noscript>") :]


def row(**values):
    return SimpleNamespace(**values)


def test_unknown_figures_say_so() -> None:
    nothing = dict.fromkeys(electrical_rows.LEAD_COLUMNS)
    *texts, beside = lead_texts(row(**nothing))
    assert set(texts) == {"unknown"}
    assert beside.startswith("unknown to the ground 1 m away, unknown between the feet of a step: stand clear")
    tower = dict.fromkeys(electrical_rows.TOWER_COLUMNS)
    assert set(tower_texts(row(status="compromise", **tower))) == {"unknown"}
    assert tower_texts(row(status="no layout", **tower)) == ("unknown",) * 4 + ("",) * 3
    assert len(tower_labels(10.0)) == 7
    assert rods_text(row(rods=1, rod_resistance_ohm=None, rods_note="note")) == "1 rod, about unknown (note)"


@pytest.mark.parametrize(
    ("distance_m", "words"),
    [(103.314, "with H at 103 m or farther"), (0.0, "at any distance"), (float("inf"), "not even with H at 100 km")],
)
def test_distance_for_the_target(distance_m, words) -> None:
    values = dict.fromkeys(electrical_rows.TOWER_COLUMNS) | {"distance_for_bias_target_m": distance_m}
    assert tower_texts(row(status="compromise", **values))[5] == words


def test_no_two_lines_look_alike_in_grey() -> None:
    classes = shipped_classes()
    lines = {name: style for name, style in base_styles(classes).items() if not classes[name].look.area}
    looks = [(style.get("dashArray"), style["weight"], round(grey(style["color"]) / 30)) for style in lines.values()]
    assert len(set(looks)) == len(looks)


def test_tables_without_rows(empty_plan, tmp_path) -> None:
    assert "layoutplan.start(" in page(empty_plan, tmp_path)


@pytest.mark.long
def test_size_of_a_dense_map(make_plan, tmp_path) -> None:
    path = write_map(make_plan(300, hostile=False, density=15_000), tmp_path)
    assert path.stat().st_size < 3_000_000


def test_too_many_features_for_a_page(make_plan, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(surroundings, "_MOST_BYTES", 1000)
    text = page(make_plan(hostile=False), tmp_path)
    assert re.search(r"This map has no base map: \d+ map features lie around the towers, too many for one page", text)
    assert "An empty map does not mean clear ground" in text
    assert '"other power line"' not in text


def test_the_short_cut_for_plain_text_changes_nothing(hostile_texts) -> None:
    texts = [*hostile_texts, *map(chr, range(32, 0x250)), "92.5 m at 171.0° true (S, right side)"]
    for text, inert in zip(texts, layers._inert(texts), strict=True):
        assert inert == (text if text == " " else page_text(clean(text)))
