"""The notes of every plan beside its tables: the cautions, and what was taken for granted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from layoutplan.electrical import FAULT_NOTE
from layoutplan.job import Job
from layoutplan.job.lines import Line
from layoutplan.job.rules import Rules

if TYPE_CHECKING:
    from layoutplan.inputs import Inputs
    from layoutplan.line import LineModel

CAUTIONS = (
    "A proposal for competent persons, made from maps. Local codes, the asset owner's rules and licensed practice take "
    "precedence over everything in it.",
    "Leads beside a line in service carry induced voltage. Treat every lead as live until the asset owner's procedure "
    "says otherwise; stop work when a thunderstorm is near or switching is announced.",
    FAULT_NOTE,
    "Voltages and readings are computed from the figures given and those assumed; nothing computed replaces a "
    "measurement on site. Lay the leads out straight: what stays on the reel is a coil.",
    "Maps do not show everything: before a stake is driven, get the records of buried cables and pipes from their "
    "owners and locate them on site.",
    "Permission to enter, to drive, to lay leads and to cross roads, tracks and water is for the crew to obtain; what "
    "maps and lists say of it may be missing or out of date.",
    "Look before you stake: a position that is clear on the map may not be clear on the ground.",
)


def assumptions(job: Job, inputs: Inputs, model: LineModel, own_segments: int) -> tuple[str, ...]:
    """Everything that was taken for granted, in plain words.

    Parameters
    ----------
    job : Job
        What was asked.
    inputs : Inputs
        What was read.
    model : LineModel
        The lines.
    own_segments : int
        Mapped segments that were taken for the planned lines.

    Returns
    -------
    tuple of str
        One sentence each, none twice.
    """
    texts = [*inputs.assumptions, *model.assumptions]
    if own_segments:
        texts.append(
            f"{own_segments} mapped power-line segment(s) keep within 10 m of a planned span and were taken for the "
            "planned line itself"
        )
    return tuple(dict.fromkeys((*texts, *job_assumptions(job))))


def job_assumptions(job: Job) -> tuple[str, ...]:
    """What is taken for granted whatever the inputs hold: by every plan, and for what the job leaves out.

    Parameters
    ----------
    job : Job
        What was asked.

    Returns
    -------
    tuple of str
        One sentence each.

    Examples
    --------
    >>> from layoutplan.job import load_job
    >>> print(job_assumptions(load_job("sample_gis/job.toml"))[0])
    distances are horizontal, on the ellipsoid (WGS 84) at sea level: at 2,000 m height a tape reads 0.03 % more
    """
    texts = []
    half = Line.model_fields["half_width_m"].default
    if lines := [line.id for line in job.lines if "half_width_m" not in line.model_fields_set]:
        texts.append(f"half-width of the tower top not given for {', '.join(lines)}: {half:g} m taken (judgement)")
    if "reel_m" not in job.rules.model_fields_set:
        texts.append(f"lead on the reel not given: {Rules.model_fields['reel_m'].default:g} m taken (judgement)")
    texts += [
        "distances are horizontal, on the ellipsoid (WGS 84) at sea level: at 2,000 m height a tape reads 0.03 % more",
        "a lead is taken to run straight from the tower point to its stake; at the tower it is led round from the leg",
        "features mapped as lines are as wide as their tags or columns say, else as their class says (see obstacles)",
    ]
    if not job.terrain.files:
        texts.append("no elevation model given: slopes are unknown; the slack of the lead has to cover them")
    if job.land and job.work.days is None:
        texts.append("days of work not given: dated permissions and closed seasons could not be held against them")
    if job.land and not job.gives_permitted_land:
        texts.append("ground that no area of the job's land covers is not kept off: no permission to enter it is known")
    if not job.gives_permitted_land and not job.land:
        texts.append("no permitted land was given: nothing is known of permission to enter")
    return tuple(dict.fromkeys(texts))
