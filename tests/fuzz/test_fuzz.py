"""A fixed number of broken inputs of every kind, long; for more: ``python -m tests.fuzz`` (DEVELOPERS.md)."""

import sys
from random import Random

import pytest

from tests.fuzz import mutate
from tests.fuzz.harness import KINDS, Bench, _wrong

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="limits and address space are those of Linux")
EXAMPLES = 6  # of each kind; half a minute of computing time for all


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    made = Bench(tmp_path_factory.mktemp("fuzz"))
    yield made
    made.close()


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_no_input_breaks_a_rule(bench, kind):
    assert bench.examples(kind, range(EXAMPLES)) == []


def test_the_same_number_gives_the_same_example():
    data = b"tower_id,lon,lat\n1,8,49\n2,8.1,49\n"
    for change in (mutate.blind, mutate.words, lambda data, random: mutate.cells(data, random, ",")):
        versions = [change(data, Random(f"kind {number}")) for number in (1, 1, 2, 3, 4)]
        assert versions[0] == versions[1]
        assert len(set(versions)) > 1


def test_broken_rules_are_seen(tmp_path):
    """The rules themselves: each is broken once."""
    (tmp_path / "a").write_text("1", "utf-8")
    before = {"a": "other"}
    assert "exit code 70" in _wrong(tmp_path, 70, "", 0.1, {})
    assert "exit code -11" in _wrong(tmp_path, -11, "", 0.1, {})
    assert "traceback" in _wrong(tmp_path, 2, "Traceback (most", 0.1, {})
    assert "without a word" in _wrong(tmp_path, 2, "", 0.1, {})
    assert "files changed" in _wrong(tmp_path, 2, "error: x", 0.1, before)
    (tmp_path / "plan").mkdir()
    (tmp_path / "a").unlink()
    (tmp_path / "plan" / "plan.json").write_text("1", "utf-8")
    assert _wrong(tmp_path, 0, "", 0.1, {}) == ""
    assert "files changed" in _wrong(tmp_path, 2, "error: x", 0.1, {})
    (tmp_path / "plan" / ".layoutplan-x").mkdir()
    (tmp_path / "plan" / ".layoutplan-x" / "y").write_text("1", "utf-8")
    assert "unfinished" in _wrong(tmp_path, 0, "", 0.1, {})


@pytest.mark.long
def test_a_child_that_ends_early_is_a_finding(bench, monkeypatch):
    import os

    monkeypatch.setattr(Bench, "_example", lambda *example: os._exit(1) if example[2] == 1 else None)
    (found,) = bench.examples("towers csv", range(3))
    assert (found.kind, found.number) == ("towers csv", 1)
    assert "ended" in found.what


@pytest.mark.long
def test_a_request_is_a_finding(bench):
    import socket

    with socket.create_connection(bench._listener.getsockname()):
        assert "1 request" in bench._asked()
