"""Names from data on the sheets: hostile ones, other scripts, letters that no font has."""

import dataclasses
import struct
import time

import pytest

from layoutplan.outputs.sheets.fonts import Fonts, _folder
from layoutplan.text import clean

COVER = 2


def squeezed(text):
    return "".join(text.split())


@pytest.mark.long
def test_hostile_names_are_shown_letter_for_letter(make_plan, written, hostile_texts):
    plan = make_plan(13)
    document = written(plan)
    for number, tower in enumerate(plan.towers["tower_id"], COVER + 1):
        name = clean(tower)
        if name.isascii():  # the rest is tested below
            assert squeezed(f"Tower {name}") in squeezed(document.text(number))
    assert squeezed(clean(plan.job.title)) in squeezed(document.text(1))


@pytest.mark.first(2)
@pytest.mark.parametrize("name", ["Башня 12", "Πύργος 7", "Stožár č. 3 ł ő", "Đ 5 ≥ Ω", "Wieża «północ»"])
def test_letters_of_the_font_are_printed_as_they_are(calm_plan, written, name):
    towers = calm_plan.towers.assign(tower_id=[name, *calm_plan.towers["tower_id"][1:]])
    document = written(dataclasses.replace(calm_plan, towers=towers))
    assert f"Tower {name}" in document.text(COVER + 1)
    assert "Latin letters between" not in document.text(1)


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("name", "printed"),
    [("鉄塔 9", "‹ZhiTa› 9"), ("برج 4", "‹brj› 4"), ("מגדל 4", "‹mgdl› 4"), ("T\U0001f5fc3", "T‹:tokyo_tower:›3")],
)
def test_letters_of_no_font_are_spelt_and_told(calm_plan, written, name, printed):
    """Spellings: what anyascii gives; right-to-left text would be set in the wrong order, so it is spelt too."""
    towers = calm_plan.towers.assign(tower_id=[name, *calm_plan.towers["tower_id"][1:]])
    document = written(dataclasses.replace(calm_plan, towers=towers))
    assert f"Tower {printed}" in document.text(COVER + 1)
    assert f"towers {printed})" in document.text(1)


def test_a_font_of_the_users_is_taken_for_what_is_missing(calm_plan, on_day, written):
    """STIX, which comes with matplotlib, has this letter; DejaVu Sans lacks it."""
    name = "T\N{LATIN SMALL LETTER S WITH PALATAL HOOK} 5"
    plan = dataclasses.replace(
        calm_plan, towers=calm_plan.towers.assign(tower_id=[name, *calm_plan.towers["tower_id"][1:]])
    )
    assert f"Tower {name}" not in written(plan).text(COVER + 1)
    with_font = written(on_day(plan, font=_folder() / "STIXGeneral.ttf"))
    assert f"Tower {name}" in with_font.text(COVER + 1)
    assert "Latin letters between" not in with_font.text(1)


@pytest.mark.first(2)
@pytest.mark.parametrize("name", ["none.ttf", "text.ttf", "cut.ttf", "tables.ttf"])
def test_a_font_that_cannot_be_used_is_told_on_the_cover(calm_plan, on_day, written, tmp_path, name):
    """By its name: where it lies on the planner's disk is nobody's business who is handed the sheets."""
    whole = (_folder() / "STIXGeneral.ttf").read_bytes()
    contents = {"text.ttf": b"no font at all", "cut.ttf": whole[:-400], "tables.ttf": whole[:2000]}
    folder = tmp_path / "whose_folder"
    folder.mkdir()
    if name in contents:
        (folder / name).write_bytes(contents[name])
    document = written(on_day(calm_plan, font=folder / name))
    front = squeezed(document.text(1))  # wherever the lines break
    assert squeezed(f"The font '{name}' cannot be used (") in front
    assert squeezed("output.font needs a TrueType file") in front
    pages = squeezed("".join(document.text(number) for number in range(1, len(document.pages) + 1)))
    assert "whose_folder" not in pages
    assert squeezed(str(tmp_path)) not in pages
    assert b"whose_folder" not in document.path.read_bytes()


def test_names_of_any_length_keep_to_their_page(calm_plan, written):
    """An id of 50,000 letters is shown by its beginning and its end."""
    name = "x" * 50_000 + "END"
    towers = calm_plan.towers.assign(tower_id=[name, *calm_plan.towers["tower_id"][1:]])
    document = written(dataclasses.replace(calm_plan, towers=towers))
    text = squeezed(document.text(COVER + 1))
    assert "Towerxxxx" in text
    assert "xxxxEND" in text
    assert len(document.pages) == COVER + len(towers)


def placed(font, table, content, at=0):
    """The font with other bytes in one of its tables."""
    number = struct.unpack_from(">H", font, 4)[0]
    entries = [font[12 + 16 * index : 28 + 16 * index] for index in range(number)]
    start = next(struct.unpack_from(">L", entry, 8)[0] for entry in entries if entry[:4] == table) + at
    return font[:start] + content + font[start + len(content) :]


def letter_map(kind):
    """A table of letters (ISO/IEC 14496-22, 'cmap') in which there are thousands of millions of them."""
    head = struct.pack(">HHHHL", 0, 1, 3, 10, 12)
    if kind == 4:  # segments that all hold all letters
        number = 2000
        ends, starts = struct.pack(">H", 0xFFFF) * number, struct.pack(">H", 0) * number
        return (
            head + struct.pack(">7H", 4, 0xFFFF, 0, 2 * number, 0, 0, 0) + ends + bytes(2) + starts + bytes(4 * number)
        )
    if kind == 10:
        return head + struct.pack(">HHLLLL", 10, 0, 20, 0, 0, 0xFFFFFFFF)
    return head + struct.pack(">HHLLL", kind, 0, 28, 0, 1) + struct.pack(">LLL", 0, 0xFFFFFFFF, 1)


@pytest.mark.parametrize("kind", [4, 10, 12, 13])
def test_a_font_with_more_letters_than_there_are_is_refused_at_once(tmp_path, kind):
    """The library that embeds fonts would count them all, for hours and in all the memory."""
    path = tmp_path / "many.ttf"
    path.write_bytes(placed((_folder() / "DejaVuSans.ttf").read_bytes(), b"cmap", letter_map(kind)))
    start = time.process_time()
    assert "many.ttf' cannot be used (not a font, or damaged)" in Fonts(path).problem
    assert time.process_time() - start < 2.0


def test_a_font_whose_glyphs_run_out_of_their_places_is_refused(tmp_path):
    """Found otherwise only when the pages are put together, in a traceback or after hours."""
    path = tmp_path / "glyphs.ttf"
    path.write_bytes(placed((_folder() / "DejaVuSans.ttf").read_bytes(), b"loca", b"\xff" * 8, at=40))
    assert "cannot be used" in Fonts(path).problem


def test_a_font_that_is_no_plain_file_is_refused(tmp_path):
    assert "no plain file" in Fonts(tmp_path).problem


def test_long_ids_are_told_apart_on_the_cover_s_map(calm_plan, written):
    """Ids often differ at their ends only."""
    names = [f"EASTERN-LINE-220-STRAIN-{number:03}" for number in range(len(calm_plan.towers))]
    text = written(dataclasses.replace(calm_plan, towers=calm_plan.towers.assign(tower_id=names))).text(1)
    assert all(f"STRAIN-{number:03}" in text for number in range(len(names)))
