"""What the job leaves open of lines and stations, and what is taken instead."""

from __future__ import annotations

from collections.abc import Sequence

from layoutplan.electrical import EN_50522_2010
from layoutplan.exposure.joints import Joints, twice_given
from layoutplan.job import Job, Line

_SOME = 5  # towers that are listed by name


def left_out(job: Job, joints: Joints, lines: int) -> list[str]:
    """What the network leaves out, and what of the stations is not given.

    Parameters
    ----------
    job : Job
        Its lines and limits.
    joints : Joints
        Its stations.
    lines : int
        How many lines there are.

    Returns
    -------
    list of str
    """
    texts = [
        "power lines on the map that are not in the job add nothing to the voltages: their currents are not known",
        *twice_given(joints.stations),
    ]
    texts += [
        f"{station.name}: no fault current given; a fault in the station is not counted, and near it more may be "
        "transferred than is shown"
        for station in joints.stations
        if station.fault is None
    ]
    if lines > 1:
        texts.append(
            "earth wires of all lines are one network; lines whose towers or stations nobody named as common meet "
            "only in the ground and by induction"
        )
    if job.limits.touch_standard == "EN 50522":
        texts.append(f"{EN_50522_2010.standard} {EN_50522_2010.edition}: {EN_50522_2010.source}")
    elif any(line.fault is not None and line.fault.x_over_r is None for line in job.lines):
        texts.append(
            "fault currents are taken without d.c. offset: IEEE Std 80's decrement factor needs fault.x_over_r"
        )
    return texts


def gaps_of_faults(line: Line, names: Sequence[str]) -> list[str]:
    """What is taken for towers that the table of fault currents leaves out.

    Parameters
    ----------
    line : Line
        The line of the table.
    names : sequence of str
        Towers without a fault current.

    Returns
    -------
    list of str
        Empty without such towers.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> print(gaps_of_faults(SimpleNamespace(id="A"), ["T3", "T9"])[0].partition(";")[0])
    line 'A': no fault current in its table for T3, T9
    """
    if not names:
        return []
    few = ", ".join(names[:_SOME]) + (f" and {len(names) - _SOME} more" if len(names) > _SOME else "")
    return [
        f"line '{line.id}': no fault current in its table for {few}; a fault there is taken to be fed by no more than "
        "the greatest of the line's others; what it might make worse is unknown, or shown as it is without it where "
        "that is beyond its limit already"
    ]


def unknowns(line: Line) -> list[str]:
    """What the job does not give of a line's load and fault, and what is taken instead.

    Parameters
    ----------
    line : Line
        One of the job.

    Returns
    -------
    list of str
        Assumptions, one sentence each.
    """
    texts = []
    if line.load is None:
        texts.append(f"line '{line.id}': no load current given; everything that depends on it is unknown")
    elif line.load.maximum_a is None:
        texts.append(f"line '{line.id}': greatest load not given, the usual {line.load.current_a:g} A taken for it")
    if line.load is not None and not line.load.phase_currents_a:
        texts += [
            f"line '{line.id}': {name} sequence not given, {getattr(line.load, key):g} % taken (judgement)"
            for name, key in (("negative", "negative_sequence_pct"), ("zero", "zero_sequence_pct"))
            if key not in line.load.model_fields_set
        ]
    if line.fault is not None:
        texts += [
            f"line '{line.id}': no station given at its {end}; a fault current from there is taken to return through "
            "remote earth, and its earth wires end there"
            for end in ("start", "end")
            if getattr(line, f"{end}_grid_ohm") is None and getattr(line, f"{end}_station") is None
        ]
    else:
        texts.append(f"line '{line.id}': no fault current given; everything that depends on it is unknown")
    return texts
