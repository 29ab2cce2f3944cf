"""Texts on a terminal: width, colour, and none of both where there is no terminal."""

from __future__ import annotations

import sys

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.cli import terminal
from layoutplan.layout.rules import SEVERITY, STATUSES


@pytest.fixture
def on_terminal(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    monkeypatch.setattr(terminal, "_on_terminal", lambda: True)
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    return monkeypatch


@given(st.text(st.characters(codec="ascii", min_codepoint=32), max_size=300), st.integers(40, 120))
def test_no_word_is_lost_and_no_line_too_wide(text: str, width: int) -> None:
    lines = list(terminal.wrapped_lines([f"  {text}"], width))
    assert " ".join(lines).split() == text.split()
    assert all(len(line) <= width or " " not in line.strip() for line in lines)


def test_what_is_continued_is_set_in_and_colours_take_no_room() -> None:
    red = click.style("to be agreed", fg="red")
    first, second = terminal.wrapped_lines([f"  crossing agreement {red} engineering judgement"], 40)
    assert click.unstyle(first) == "  crossing agreement to be agreed"
    assert second == "      engineering judgement"


def test_elsewhere_lines_stay_as_they_are() -> None:
    assert list(terminal.wrapped_lines(["x " * 200])) == ["x " * 200]
    assert terminal.paint("broken", "broken") == "broken"


def test_every_verdict_and_status_has_a_colour(on_terminal: pytest.MonkeyPatch) -> None:
    for name in (*SEVERITY, *STATUSES):
        assert click.unstyle(terminal.paint(name, name)) == name != terminal.paint(name, name)
    assert "\x1b[31m" in terminal.paint("no layout", "x")


@pytest.mark.parametrize(("name", "value"), [("NO_COLOR", "1"), ("TERM", "dumb")])
def test_no_colour_where_it_is_not_wanted(on_terminal: pytest.MonkeyPatch, name: str, value: str) -> None:
    on_terminal.setenv(name, value)
    assert terminal.paint("broken", "broken") == "broken"


def test_a_closed_output_is_no_terminal(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:
    with (tmp_path / "out").open("w") as stream:
        pass
    monkeypatch.setattr(sys, "stdout", stream)
    assert list(terminal.wrapped_lines(["x"])) == ["x"]
