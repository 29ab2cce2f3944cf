"""What tags tell of a planned line, and where they contradict the job."""

from __future__ import annotations

from typing import Any

import pytest

from layoutplan.inputs.osm_power_tags import tags_over_job
from layoutplan.job import Line

OSM = {"path": "map.osm.pbf", "way_ids": [1]}
WIRE = {"attachment_height_m": 20, "sag_m": 5, "diameter_mm": 20}


def told(ways: list[str], **keys: Any) -> tuple[Line, str, str]:
    tags = {100 + i: dict(part.split("=") for part in way.split()) for i, way in enumerate(ways)}
    line, assumptions, problems = tags_over_job(Line.model_validate({"id": "L", "osm": OSM, **keys}), tags)
    return line, " | ".join(assumptions), " | ".join(problems)


def test_voltage_and_frequency_are_taken_from_the_map_and_said() -> None:
    line, assumed, problems = told(["voltage=110000 frequency=16.67", "voltage=110000"])
    assert (line.voltage_kv, line.frequency_hz) == (110.0, 16.7)
    assert "line 'L': voltage 110 kV and frequency 16.7 Hz as tagged on the map (osm way 100, 101)" in assumed
    assert not problems
    assert {"voltage_kv", "frequency_hz"} <= line.model_fields_set


@pytest.mark.parametrize(
    ("ways", "voltage_kv", "words"),
    [
        (["voltage=110000;220000"], 220.0, "voltage 220 kV (the highest of 220 and 110)"),
        (["voltage=110000", "voltage=20000"], 110.0, "the highest of 110 and 20"),
        (["voltage=110"], None, "110 V tagged on the map (osm way 100) cannot be used; it stays unknown"),
        (["voltage=1100000"], None, "cannot be used"),
        (["voltage=high"], None, ""),
        (["name=x"], None, ""),
    ],
)
def test_voltages(ways: list[str], voltage_kv: float | None, words: str) -> None:
    line, assumed, problems = told(ways)
    assert line.voltage_kv == voltage_kv
    assert words in assumed + problems
    assert line.frequency_hz == 50.0
    assert "frequency_hz" not in line.model_fields_set


@pytest.mark.parametrize(
    ("ways", "hertz", "words"),
    [
        (["frequency=60"], 60.0, "frequency 60 Hz"),
        (["frequency=0"], 50.0, "0 Hz tagged on the map (osm way 100) cannot be planned with; 50 Hz is taken"),
        (["frequency=25"], 50.0, "25 Hz"),
        (["frequency=50;16.7"], 50.0, "16.7 and 50 Hz"),
        (["frequency=50", "frequency=60"], 50.0, "50 and 60 Hz"),
    ],
)
def test_frequencies(ways: list[str], hertz: float, words: str) -> None:
    line, assumed, problems = told(ways)
    assert line.frequency_hz == hertz
    assert words in assumed + problems


@pytest.mark.parametrize(
    ("ways", "keys", "words"),
    [
        (["voltage=150000"], {"voltage_kv": 110}, "voltage_kv = 110 in the job, 150 kV tagged on the map"),
        (["voltage=150000"], {"voltage_kv": 150}, ""),
        (["voltage=220000;110000"], {"voltage_kv": 110}, ""),
        (["frequency=16.7"], {"frequency_hz": 50}, "frequency_hz = 50 in the job, 16.7 Hz tagged on the map"),
        (["frequency=16.67"], {"frequency_hz": 16.7}, ""),
    ],
)
def test_what_the_job_gives_counts_and_a_contradiction_is_named(ways: Any, keys: dict[str, Any], words: str) -> None:
    line, assumed, problems = told(ways, **keys)
    assert all(getattr(line, key) == value for key, value in keys.items())
    assert not assumed
    assert (words in problems) if words else not problems


def test_circuits_against_the_sections_of_the_job() -> None:
    wires = [{"phase": p, "offset_m": x, "circuit": 1, **WIRE} for p, x in zip("ABC", (-4, 0, 4), strict=True)]
    assert "1 circuit(s) in its sections, 2 tagged" in told(["cables=6"], sections=[{"conductors": wires}])[2]
    assert not told(["cables=3"], sections=[{"conductors": wires}])[2]
    assert "2 circuits tagged on the map" in told(["circuits=2"])[1]
    assert not told(["circuits=1 cables=3"])[1]
    assert "two conductors" in told(["cables=4 frequency=16.7"])[1]
    assert "2 circuits tagged" in told(["cables=4 frequency=16.7"])[1]
