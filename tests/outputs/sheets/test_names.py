"""Names from data on the sheets: hostile ones, other scripts, letters that no font has."""

import dataclasses

import pytest

from layoutplan.outputs.sheets.fonts import _folder
from layoutplan.text import clean

COVER = 2


def squeezed(text):
    return "".join(text.split())


def test_hostile_names_are_shown_letter_for_letter(make_plan, written, hostile_texts):
    plan = make_plan(13)
    document = written(plan)
    for number, tower in enumerate(plan.towers["tower_id"], COVER + 1):
        name = clean(tower)
        if name.isascii():  # the rest is tested below
            assert squeezed(f"Tower {name}") in squeezed(document.text(number))
    assert squeezed(clean(plan.job.title)) in squeezed(document.text(1))


@pytest.mark.parametrize("name", ["Башня 12", "Πύργος 7", "Stožár č. 3 ł ő", "Đ 5 ≥ Ω", "Wieża «północ»"])
def test_letters_of_the_font_are_printed_as_they_are(calm_plan, written, name):
    towers = calm_plan.towers.assign(tower_id=[name, *calm_plan.towers["tower_id"][1:]])
    document = written(dataclasses.replace(calm_plan, towers=towers))
    assert f"Tower {name}" in document.text(COVER + 1)
    assert "Latin letters between" not in document.text(1)


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
