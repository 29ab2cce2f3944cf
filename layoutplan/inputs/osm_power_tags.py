"""What the map holds on a planned line: its tags fill what the job leaves open, and are held against what it gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from layoutplan.inputs.osm_power import LOW_V, numbers
from layoutplan.inputs.words import listed
from layoutplan.job import Line

_HIGHEST_V = 800_000.0  # beyond it no generic cross-section is known
_SUPPLY_HZ = (50.0, 60.0, 16.7)
_TRACTION_HZ = 16.7
_NEAR_HZ = 0.1  # 16.67 is tagged as well as 16.7
_SAME = 0.02  # relative: 110 kV is 110 kV


def tags_over_job(line: Line, ways: Mapping[int, Mapping[str, str]]) -> tuple[Line, list[str], list[str]]:
    """Fill in voltage and frequency from tags, and compare the job's own with them.

    Parameters
    ----------
    line : Line
        As the job gives it.
    ways : mapping of int to mapping of str to str
        Tags of the ways that the line was taken from, by id.

    Returns
    -------
    line : Line
        With what the job does not give.
    assumptions : list of str
        What was taken from the map.
    problems : list of str
        Where job and map contradict each other, or the map itself.
    """
    tagged = f"tagged on the map (osm way {listed(ways, 4)})"
    filled: dict[str, Any] = {}
    taken, problems = [], []
    for told in (_voltage, _frequency):
        values, text, notes = told(line, list(ways.values()), tagged)
        filled |= values
        taken += [text] if text else []
        problems += [f"line '{line.id}': {words}" for words in notes]
    if filled:
        line = line.model_copy(update=filled)
    assumed = [f"line '{line.id}': {' and '.join(taken)} as {tagged}"] if taken else []
    circuits, notes = _circuits(line, list(ways.values()), tagged)
    return line, [*assumed, *circuits], [*problems, *notes]


_Told = tuple[dict[str, Any], str, list[str]]


def _voltage(line: Line, ways: Sequence[Mapping[str, str]], tagged: str) -> _Told:
    volts = sorted({value for tags in ways for value in numbers(tags, "voltage")}, reverse=True)
    if not volts:
        return {}, "", []
    kilovolts = " and ".join(f"{value / 1000:g}" for value in volts)
    if line.voltage_kv is not None:
        if any(np.isclose(line.voltage_kv * 1000, value, rtol=_SAME) for value in volts):
            return {}, "", []
        return {}, "", [f"voltage_kv = {line.voltage_kv:g} in the job, {kilovolts} kV {tagged}; the job's is taken"]
    highest = volts[0]
    if not LOW_V <= highest <= _HIGHEST_V:
        return {}, "", [f"voltage not given, and {highest:g} V {tagged} cannot be used; it stays unknown"]
    others = f" (the highest of {kilovolts})" if len(volts) > 1 else ""
    return {"voltage_kv": highest / 1000}, f"voltage {highest / 1000:g} kV{others}", []


def _frequency(line: Line, ways: Sequence[Mapping[str, str]], tagged: str) -> _Told:
    hertz = sorted({_supply(value) for tags in ways for value in numbers(tags, "frequency")})
    if not hertz:
        return {}, "", []
    words = " and ".join(f"{value:g}" for value in hertz)
    given = "frequency_hz" in line.model_fields_set
    if given and line.frequency_hz in hertz:
        return {}, "", []
    if given:
        return {}, "", [f"frequency_hz = {line.frequency_hz:g} in the job, {words} Hz {tagged}; the job's is taken"]
    if len(hertz) == 1 and hertz[0] in _SUPPLY_HZ:
        return {"frequency_hz": hertz[0]}, f"frequency {words} Hz", []
    return (
        {},
        "",
        [
            f"{words} Hz {tagged} cannot be planned with; {line.frequency_hz:g} Hz is taken, and voltages and readings "
            "do not hold as they stand"
        ],
    )


def _supply(hertz: float) -> float:
    return next((value for value in _SUPPLY_HZ if abs(value - hertz) <= _NEAR_HZ), hertz)


def _circuits(line: Line, ways: Sequence[Mapping[str, str]], tagged: str) -> tuple[list[str], list[str]]:
    """Circuits and conductors on the map against the job's cross-sections, or what a generic one leaves out."""
    phases = 2 if line.frequency_hz == _TRACTION_HZ else 3
    circuits = {value for tags in ways for value in _count(tags, phases)}
    if not circuits:
        return [], []
    words = " and ".join(f"{value:g}" for value in sorted(circuits))
    sections = [item.conductors for item in line.sections if item.conductors]
    if sections:
        has = {len({wire.circuit for wire in wires if wire.phase != "E"}) for wires in sections}
        own = " and ".join(str(value) for value in sorted(has))
        return [], ([] if has & circuits else [f"{own} circuit(s) in its sections, {words} {tagged}"])
    texts = []
    if max(circuits) > 1:
        texts.append(
            f"line '{line.id}': {words} circuits {tagged}, conductors not given: what load and fault do is worked out "
            "for one circuit; several with unfavourable phases do more"
        )
    if line.frequency_hz == _TRACTION_HZ:
        texts.append(
            f"line '{line.id}': circuits of a railway have two conductors, the generic cross-section has three: give "
            "the conductors in [[lines.sections]]"
        )
    return texts, []


def _count(tags: Mapping[str, str], phases: int) -> list[float]:
    if given := numbers(tags, "circuits"):
        return [sum(given)]
    cables = sum(numbers(tags, "cables"))
    return [cables / phases] if cables and cables % phases == 0 else []
