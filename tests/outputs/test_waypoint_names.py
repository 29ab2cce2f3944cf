"""Names that hand-held receivers take: short, plain, unique, readable."""

import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layoutplan.errors import InputRangeError
from layoutplan.outputs.waypoint_names import waypoint_names

from ..effort import examples

ALPHABET = re.compile(r"[A-Z0-9]([A-Z0-9-]*[A-Z0-9])?")


def test_tower_then_role() -> None:
    assert waypoint_names(["L"] * 4, ["011", "011", "012", "012"], ["H", "S"] * 2) == [
        "011-H",
        "011-S",
        "012-H",
        "012-S",
    ]


@pytest.mark.parametrize(
    ("tower_id", "name"),
    [
        ("Башня 7", "BASHNYA7-H"),
        ("7/8", "7-8-H"),
        ("../x", "X-H"),
        ('"q"', "Q-H"),
        ("=1+1", "1-1-H"),
        ("straße", "STRASSE-H"),
        ("🗼", "TOKYOTOW-H"),
        ("...", "NO1-H"),
        ("", "NO1-H"),
        ("North line tower 00012", "ER00012-H"),
    ],
)
def test_any_script_and_hostile_ids(tower_id: str, name: str) -> None:
    (found,) = waypoint_names(["L"], [tower_id], ["H"])
    assert ALPHABET.fullmatch(found)
    assert len(found) <= 10
    if tower_id != "🗼":  # how an emoji is spelt is anyascii's affair
        assert found[-8:] == name[-8:]


def test_what_all_towers_share_goes_before_a_number_is_cut() -> None:
    ids = ["NORTH-LINE-00098", "NORTH-LINE-00099", "NORTH-LINE-00100"]
    assert waypoint_names(["L"] * 3, ids, ["H"] * 3) == ["00098-H", "00099-H", "00100-H"]


@pytest.mark.parametrize(
    ("lines", "starts"),
    [
        (("north", "south"), ("N-", "S-")),
        (("line 1", "line 2"), ("1-", "2-")),
        (("A", "A-2"), ("A-", "A2-")),
        (("Line", "Line"), ("", "X2")),
        (("same-long-1-x", "same-long-1-y"), ("X-", "Y-")),
        (("鉄", "鐵"), ("A-", "B-")),
    ],
)
def test_lines_with_equal_tower_ids_are_told_apart(lines: tuple[str, str], starts: tuple[str, str]) -> None:
    names = waypoint_names(lines, ["1", "1"], ["H", "H"])
    if lines[0] == lines[1]:  # one tower given twice
        assert names == ["1-H", "1X2-H"]
    elif starts == ("A-", "B-"):
        assert len(set(names)) == 2
    else:
        assert [name[: len(start)] for name, start in zip(names, starts, strict=True)] == list(starts)


def test_line_code_only_where_needed() -> None:
    assert waypoint_names(["north", "south"], ["1", "2"], ["H", "H"]) == ["1-H", "2-H"]


def test_equal_after_cleaning_are_numbered_and_natural_names_stay() -> None:
    ids = ["1/2", "1-2", "1_2", "1-2X2"]
    assert waypoint_names(["L"] * 4, ids, ["H"] * 4) == ["1-2-H", "1-2X3-H", "1-2X4-H", "1-2X2-H"]


def test_a_towers_name_does_not_depend_on_the_role() -> None:
    ids = ["1/2", "1-2", "a", "b"]
    stakes = waypoint_names(["L"] * 4, ids, ["H"] * 4)
    towers = waypoint_names(["L"] * 4, ids, ["T"] * 4, taken=stakes)
    assert [name[:-1] for name in stakes] == [name[:-1] for name in towers]


def test_taken_names_are_not_given_again() -> None:
    assert waypoint_names(["L"], ["1"], ["T"], taken=["1-T", "1X2-T"]) == ["1X3-T"]


def test_too_short_is_refused() -> None:
    with pytest.raises(InputRangeError, match="at least 6"):
        waypoint_names(["L"], ["1"], ["H"], 5)


@settings(max_examples=examples(60), deadline=None)
@given(
    ids=st.lists(st.text(max_size=14), min_size=1, max_size=30),
    lines=st.lists(st.text(max_size=5), min_size=1, max_size=3),
    length=st.integers(6, 16),
)
def test_always_unique_short_and_plain(ids: list[str], lines: list[str], length: int) -> None:
    rows = [(line, tower, role) for line in lines for tower in ids for role in "HS"]
    names = waypoint_names(*map(list, zip(*rows, strict=True)), length)
    assert len(set(names)) == len(names)
    assert all(ALPHABET.fullmatch(name) and len(name) <= length for name in names)
    distinct = list(dict.fromkeys(rows))
    if len(distinct) == len(rows):
        assert all(name.endswith(f"-{role}") for name, (_, _, role) in zip(names, rows, strict=True))
    assert names == waypoint_names(*map(list, zip(*rows, strict=True)), length)


def _alike(number: int) -> str:
    return "Ω" + f"{number:b}".replace("0", ".").replace("1", "/")


@pytest.mark.parametrize(
    "tower_id", ["{}".format, ("T" + "-" * 30 + "{}").format, _alike], ids=["numbers", "long", "all alike"]
)
def test_ten_thousand_towers(tower_id: Callable[[int], str]) -> None:
    ids = [tower_id(number) for number in range(10_000)]
    names = waypoint_names(["L"] * 20_000, [name for name in ids for _ in "HS"], ["H", "S"] * 10_000, 6)
    assert len(set(names)) == 20_000
    assert max(map(len, names)) <= 6
