"""``layoutplan compare``: what changed between two plans, in words, as JSON, and as layers to look at."""

from __future__ import annotations

import json
import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from layoutplan.cli.common import debug_option, errors_in_words, no_nan, print_json, settle_folders
from layoutplan.cli.terminal import show
from layoutplan.errors import OutputError
from layoutplan.text import clean

if TYPE_CHECKING:
    import pandas as pd

    from layoutplan.reports.compare import Comparison

_MOST_LINES = 20  # of a group, unless all are asked for
_MOST_LETTERS = 80  # of a setting's value
_TABLES = ("towers", "stakes", "checks", "crossings", "exposures", "record")
_NAMES = {"record": "plan.json"}
_FOLDER = click.Path(path_type=Path)


@click.command("compare")
@click.argument("old", type=_FOLDER, metavar="OLD")
@click.argument("new", type=_FOLDER, metavar="NEW")
@click.option(
    "--tolerance",
    "tolerance_m",
    type=click.FloatRange(0.01, 1000.0),
    default=0.05,
    callback=no_nan,
    show_default=True,
    metavar="M",
    help="Metres up to which a tower or stake counts as where it was.",
)
@click.option("--all", "show_all", is_flag=True, help=f"Show more than {_MOST_LINES} lines of a group.")
@click.option("--json", "as_json", is_flag=True, help="Everything as one JSON object on stdout.")
@click.option(
    "--out",
    type=_FOLDER,
    metavar="FILE.gpkg",
    help="Write the layers 'changes' (from old places to new ones) and 'towers_changed'.",
)
@click.option("--force", is_flag=True, help="Replace the file of --out if it exists.")
@debug_option
def command(
    old: Path, new: Path, tolerance_m: float, show_all: bool, as_json: bool, out: Path | None, force: bool, debug: bool
) -> None:
    """Report what changed between two plans, in the folders OLD and NEW.

    Exit codes: 0 the same towers, stakes, statuses, verdicts, crossings and levels of exposure (settings, inputs and
    software may differ); 1 some of these differ, or could not be compared; 2 bad input or usage.
    """
    with errors_in_words(debug):
        from layoutplan.reports.compare import compare_plans
        from layoutplan.written.read import read_plan

        settle_folders(old, new)
        if out:
            _refuse(out, (old, new), force)
        before, now = (read_plan(folder, record_needed=False) for folder in (old, new))
        made = compare_plans(before.tables, now.tables, before.record, now.record, tolerance_m)
        further = [
            f"the {age} plan: {text}"
            for age, plan in (("old", before), ("new", now))
            for text in plan.notes
            if plan.record
        ]
        made = replace(made, notes=(*made.notes, *further))
        if out:
            _write(made, out)
        if as_json:
            print_json({**as_object(made, tolerance_m), "file": str(out) if out else None})
        else:
            show([*report_lines(made, tolerance_m, show_all), *([f"written: {out}"] if out else [])])
        sys.exit(0 if made.same else 1)


def _refuse(out: Path, plans: tuple[Path, Path], force: bool) -> None:
    from layoutplan.store.record import TABLES_NAME

    if out.suffix.lower() != ".gpkg":
        raise OutputError(f"'{out}': --out writes a GeoPackage. Give a name that ends in .gpkg.")
    files = [folder / TABLES_NAME for folder in plans]
    if any(out.exists() and file.exists() and out.samefile(file) for file in files):
        raise OutputError(f"'{out}' is one of the plans to compare. Choose another file.")
    if out.is_dir() or (out.exists() and not force):
        raise OutputError(f"'{out}' exists and is left alone. Choose another file, or replace it with --force.")


def _write(made: Comparison, out: Path) -> None:
    """Write the layers ``changes`` and ``towers_changed``; the same differences give the same bytes."""
    from layoutplan.layout.schema import tables
    from layoutplan.outputs.columns import with_columns
    from layoutplan.outputs.gpkg import write_layers
    from layoutplan.outputs.write import write_together

    moves = made.stakes[made.stakes["change"] == "moved"]
    schema, layers = tables("comparison"), {"changes": moves, "towers_changed": made.towers}
    layers = {name: with_columns(layer, name, schema) for name, layer in layers.items()}
    write_together(
        out.parent, lambda folder: [write_layers(layers, schema, folder / out.name, "EPSG:4326")], keep=False
    )


def as_object(made: Comparison, tolerance_m: float) -> dict[str, Any]:
    """Return everything that differs as plain values, None for what is not known."""
    tables = {name: _rows(getattr(made, name)) for name in _TABLES}
    head = {"same": made.same, "complete": made.complete, "tolerance_m": tolerance_m, "counts": _counts(made)}
    return {**head, **tables, "notes": list(made.notes)}


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    rows = table.drop(columns="geometry", errors="ignore").to_dict("records")
    return [{str(name): _plain(value) for name, value in row.items()} for row in rows]


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _counts(made: Comparison) -> dict[str, dict[str, int]]:
    """How many of what differ, by kind."""
    towers = made.towers[~made.towers["change"].isin(["added", "removed"])]
    kinds = {
        "towers": made.towers["change"],
        "status": "now " + towers.loc[towers["old_status"] != towers["new_status"], "new_status"],
        "stakes": made.stakes["change"],
        "rules": made.checks["change"],
        "crossings": "of leads " + made.crossings["role"],
        "exposures": "now " + made.exposures["new_level"].replace("", "not assessed"),
        "record": made.record["key"].map(lambda key: _part(key)[0]),
    }
    return {name: {kind: n for kind, n in Counter(found).items() if kind} for name, found in kinds.items()}


def _part(key: str) -> tuple[str, str]:
    """Part of the record to which a dotted key belongs, and the rest of it."""
    from layoutplan.reports.compare_records import RECORDED

    part = next(name for name in RECORDED if key.startswith(name))
    return part, key.removeprefix(part).removeprefix(".") or part


def report_lines(made: Comparison, tolerance_m: float, show_all: bool) -> Iterator[str]:
    """Summary, notes, then the details by tower and by part of the record."""
    counts = _counts(made)
    if made.same:
        yield f"no tower, stake, verdict, crossing or level of exposure differs (places within {tolerance_m:g} m)"
    elif not any(kinds for name, kinds in counts.items() if name != "record"):
        yield "nothing differs in what could be compared, but not everything could be"
    for name, kinds in counts.items():
        if kinds:
            yield f"{_NAMES.get(name, name)}: " + ", ".join(f"{n} {kind}" for kind, n in kinds.items())
    yield from (f"note: {note}" for note in made.notes)
    for head, group in [*_by_tower(made).items(), *_by_part(made).items()]:
        shown = group if show_all else group[:_MOST_LINES]
        yield ""
        yield head
        yield from (f"  {line}" for line in shown)
        if len(group) > len(shown):
            yield f"  ... and {len(group) - len(shown)} more lines (--all shows them)"


def _by_tower(made: Comparison) -> dict[str, list[str]]:
    """What differs at each tower, what matters most before the rest."""
    groups: dict[str, list[str]] = {_tower(row): [] for row in _rows(made.towers)}
    heads = {(row["line_id"], row["tower_id"]): _tower(row) for row in _rows(made.towers)}
    told = [*_reasons(made), *_stakes(made), *_rules(made), *_exposures(made), *_crossings(made)]
    for row, text in told:
        key = row["line_id"], row["tower_id"]
        head = heads.get(key, f"tower {key[1]} of line '{key[0]}', which is not among the towers")
        groups.setdefault(head, []).append(text)
    return groups


def _tower(row: dict[str, Any]) -> str:
    head = f"tower {row['tower_id']} of line '{row['line_id']}'"
    if row["change"] == "moved":
        return f"{head}: moved {row['moved_m']:.2f} m at {_bearing(row['move_bearing_deg'])} true{_status(row)}"
    words = {"added": f", {row['new_status']}", "removed": f", was {row['old_status']}"}
    text = row["change"] + words.get(row["change"], _status(row))
    return f"{head}: {text.removeprefix(', ')}" if text else head


def _status(row: dict[str, Any]) -> str:
    return "" if row["old_status"] == row["new_status"] else f", {row['old_status']} -> {row['new_status']}"


def _reasons(made: Comparison) -> Iterator[tuple[dict[str, Any], str]]:
    for row in _rows(made.towers):
        if row["new_reasons"] and row["old_status"] != row["new_status"]:
            yield row, f"now: {row['new_reasons']}"


def _stakes(made: Comparison) -> Iterator[tuple[dict[str, Any], str]]:
    for row in _rows(made.stakes):
        old, new = _place(row, "old"), _place(row, "new")
        words = {
            "new": f"new: {new}, {row['new_status']}",
            "gone": f"gone: was {old}, {row['old_status']}",
            "place unknown": "its place is not known in one of the plans" + _status(row),
            "swapped": f"swapped places with the other stake: {old} -> {new}" + _status(row),
            "status": f"same place, {row['old_status']} -> {row['new_status']}",
        }
        way = f"moved {_figure(row['moved_m'], 2)} m at {_bearing(row['move_bearing_deg'])} true: {old} -> {new}"
        yield row, f"{row['role']} " + words.get(row["change"], way + _status(row))


def _place(row: dict[str, Any], age: str) -> str:
    distance, bearing = _figure(row[f"{age}_distance_m"]), _bearing(row[f"{age}_bearing_true_deg"])
    return f"{distance} m at {bearing} ({row[f'{age}_side'] or 'side unknown'})"


def _rules(made: Comparison) -> Iterator[tuple[dict[str, Any], str]]:
    """One line for all rules of a stake that changed in the same way, the broken ones first."""
    order = ["newly broken", "newly unknown", "newly cautioned", "no longer checked", "newly kept"]
    rows = sorted(_rows(made.checks), key=lambda row: order.index(row["change"]) if row["change"] in order else 9)
    alike: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        alike.setdefault((row["line_id"], row["tower_id"], row["role"], row["change"]), []).append(row)
    for same in alike.values():
        yield same[0], f"{same[0]['role']} {same[0]['change']}: " + ", ".join(map(_rule, same))


def _rule(row: dict[str, Any]) -> str:
    age = "new" if row["new_verdict"] else "old"
    unit = f" {row[f'{age}_unit']}".rstrip()
    measured, limit = row[f"{age}_measured"], row[f"{age}_limit"]
    figures = "" if measured is None else f"{_figure(measured)}{unit}, {_limit(limit, unit)}; "
    return f"{row['rule']} ({figures}was {row['old_verdict'] or 'not checked'})"


def _exposures(made: Comparison) -> Iterator[tuple[dict[str, Any], str]]:
    for row in _rows(made.exposures):
        old, new = (
            f"{_figure(row[f'{age}_ratio'], 4)} ({row[f'{age}_level'] or 'not assessed'})" for age in ("old", "new")
        )
        yield row, f"{row['role']} {row['exposure']}, {row['state']}: ratio to its limit {old} -> {new}"


def _crossings(made: Comparison) -> Iterator[tuple[dict[str, Any], str]]:
    for row in _rows(made.crossings):
        for name, words in (("newly_crossed", "newly crosses"), ("no_longer_crossed", "no longer crosses")):
            if row[name]:
                yield row, f"{row['role']} lead {words} {row[name]}"


def _by_part(made: Comparison) -> dict[str, list[str]]:
    """What differs in the record, by its part; nothing of it is a difference between towers."""
    groups: dict[str, list[str]] = {}
    for row in _rows(made.record):
        part, key = _part(row["key"])
        text = f"{key}: {_value(row['old'])} -> {_value(row['new'])}"
        groups.setdefault(part.replace("_", " "), []).append(clean(text))
    return groups


def _value(value: Any) -> str:
    from layoutplan.reports.compare_records import NOT_THERE

    text = NOT_THERE if value == NOT_THERE else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _MOST_LETTERS else f"{text[:_MOST_LETTERS]}..."


def _limit(value: float | None, unit: str) -> str:
    """Some rules have none: a way on foot, for instance, is asked for or not, however long it is."""
    return "without a limit" if value is None else f"limit {_figure(value)}{unit}"


def _figure(value: float | None, decimals: int = 1) -> str:
    return "?" if value is None else f"{value:.{decimals}f}"


def _bearing(value_deg: float | None) -> str:
    return "? degrees" if value_deg is None else f"{round(value_deg, 1) % 360:.1f} degrees"
