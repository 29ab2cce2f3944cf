"""The end of a run in words, and as an event for programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from layoutplan.inputs.words import counted
from layoutplan.layout.model import Plan
from layoutplan.layout.reasons import NO_WAY_OUT, WAY_OUT
from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.outputs.words import quantity
from layoutplan.planning.words import tower_names

_WORST = {
    "angle_to_line_deg": "least angle of a lead to the line",
    "distance_to_line_m": "least distance of a stake from the line's axis",
    "lead_length_m": "longest lead",
}
_UNIT = {"deg": "degrees", "m": "m"}
LAYERS = ("towers", "spans", "electrodes", "leads", "approaches", "alternatives", "obstacles")


def summary_lines(plan: Plan, files: list[Path], timings_s: Mapping[str, float]) -> list[str]:
    """Towers by status, worst cases, oddities, files, cautions."""
    summary = plan.summary
    lines = [plan.job.title, f"{counted(summary['towers'], 'tower')}:"]
    lines += [f"  {count:5d}  {status}" for status, count in summary["by_status"].items() if count]
    lines += [
        f"  {_WORST[name]}: {row['value']:.1f} {_UNIT[name.rsplit('_', 1)[1]]} at {row['tower_id']} ({row['role']})"
        for name, row in summary["worst"].items()
    ]
    lines += [*_exposures(plan, summary), *_bias(plan), *_without_layout(plan)]
    lines += [f"note: {text}" for text in plan.problems]
    if timings_s:
        whole = sum(timings_s.values())
        lines += [f"  {stage:<10} {s:7.2f} s  {100 * s / whole:3.0f} %" for stage, s in timings_s.items()]
        lines += [f"  {'together':<10} {whole:7.2f} s"]
    lines += ["written:", *(f"  {path}" for path in files)]
    return [*lines, "caution:", *(f"  - {text}" for text in plan.cautions)]


def _exposures(plan: Plan, summary: dict[str, Any]) -> Iterator[str]:
    """Worst exposure of each state, and how many nobody knows."""
    unknown = summary["exposures_unknown"]
    worst = "worst exposure known" if unknown else "worst exposure"
    for state in plan.exposures["state"].unique():
        row = summary["worst_exposure"].get(state)
        yield f"  {worst} {state}: " + (_exposure(row) if row else "none; all are unknown")
    if unknown:
        total = len(plan.exposures)
        yield f"  {unknown} of {total} exposures are unknown: inputs missing, see the table exposures"


def _exposure(row: dict[str, Any]) -> str:
    value, limit = quantity(row["value"], row["unit"]), quantity(row["limit"], row["unit"])
    times = quantity(row["ratio"], "times")
    return f"{row['exposure']}, {value}, {times} the limit of {limit}, at {row['tower_id']} ({row['role']})"


def _bias(plan: Plan) -> Iterator[str]:
    """Number of towers whose readings will be out by more than the job's target."""
    target = plan.job.method.bias_target_pct
    bias = plan.towers.loc[plan.towers["status"] != NO_LAYOUT, "bias_pct"].abs()
    unknown = int(bias.isna().sum())
    if len(bias):
        yield (
            f"  bias of the reading beyond {target:g} % at {int((bias > target).sum())} of {len(bias)} towers"
            + (f", unknown at {unknown}" if unknown else "")
        )


def _without_layout(plan: Plan) -> list[str]:
    first = plan.relaxations[plan.relaxations["rank"] == 1].set_index(["line_id", "tower_id"])["text"].to_dict()
    towers = plan.towers[plan.towers["status"] == NO_LAYOUT]
    keys = list(zip(towers["line_id"], towers["tower_id"], strict=True))
    names = tower_names(plan.towers)
    ways_out = [f"{WAY_OUT}: {first[key]}" if key in first else NO_WAY_OUT for key in keys[:10]]
    shown = [f"  tower {names[key]}: {NO_LAYOUT}; {text}" for key, text in zip(keys[:10], ways_out, strict=True)]
    return [*shown, f"  … and {len(keys) - 10} more, see plan.gpkg"] if len(keys) > 10 else shown


def result_event(plan: Plan, out: Path, files: list[Path], timings_s: Mapping[str, float]) -> dict[str, Any]:
    """Return the last JSON line: where everything is, and the summary."""
    return {
        "event": "result",
        "output": str(out / "plan.gpkg"),
        "layers": list(LAYERS),
        "files": [str(path) for path in files],
        "summary": plan.summary,
        "problems": list(plan.problems),
        "cautions": list(plan.cautions),
        "timings_s": {stage: round(seconds, 3) for stage, seconds in timings_s.items()},
    }
