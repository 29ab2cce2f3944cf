"""Further files of a plan that is written already, made from its own tables."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from layoutplan.errors import OutputError
from layoutplan.layout.model import Plan
from layoutplan.layout.part import part_of
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.installed import chosen_formats, known_formats
from layoutplan.outputs.making import make_files
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.record import sha256
from layoutplan.outputs.registry import RECORD, Format
from layoutplan.outputs.write import write_together
from layoutplan.store.record import RECORD_NAME, TABLES_NAME, read_plan_record
from layoutplan.written.read import misfits
from layoutplan.written.stored import Stored, stored_plan

_OPTION = "option --to"


def export_plan(
    folder: str | Path,
    formats: Iterable[str],
    out: str | Path | None = None,
    per_file: int | None = None,
    job_file: str | Path | None = None,
    towers: str | None = None,
) -> tuple[list[Path], Stored]:
    """Make files from the plan in a folder, without planning again.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.gpkg`` and ``plan.json`` are.
    formats : iterable of str
        Names of formats.
    out : str or Path, optional
        Folder for the files; the plan's own if left out, and its record then names them too.
    per_file : int, optional
        Most waypoints in one GPX file; the job's ``output.waypoints_per_file`` if left out.
    job_file : str or Path, optional
        Names the elevation model's files, if they are no longer where they lay beside the plan.
    towers : str, optional
        Those to make pages of, as `layoutplan.layout.part.part_of` takes them; all if left out. Such pages go into
        another folder than the plan's.

    Returns
    -------
    files : list of Path
        Those that were made.
    stored : Stored
        The plan, with notes on it.

    Raises
    ------
    OutputError
        If a format or tower is not known or a format cannot be made, the plan cannot be read or was changed, the folder
        cannot be written to or holds another plan.
    """
    folder = Path(folder)
    target = folder if out is None else Path(out)
    chosen = chosen_formats(formats, _OPTION, there=("gpkg",) if _same(folder, target) else ())
    if any(entry.name == RECORD for entry in chosen):
        raise OutputError(f"{_OPTION}: '{RECORD}' is the record of how the plan was made; it is not made again later.")
    if towers is not None:
        _require_pages(chosen, apart=not _same(folder, target))
    stored = stored_plan(folder, job_file)
    if stored.changed and any(TABLES_NAME in entry.files for entry in chosen):
        raise OutputError(f"{_OPTION}: {TABLES_NAME} was changed after the plan was written; it is not written anew.")
    for entry in chosen:
        if not entry.applies_to(stored.plan):
            raise OutputError(f"{_OPTION}: '{entry.name}' needs [[{entry.needs}]] in the job; this plan has none.")
    _refuse_other_plan(folder, target)
    _require_columns(stored.plan, folder)
    plan = on_the_globe(stored.plan)
    if towers is not None:
        plan = part_of(plan, towers)
    if stored.changed:
        plan = replace(plan, problems=(*plan.problems, stored.changed))
    if per_file is not None:
        output = plan.job.output.model_copy(update={"waypoints_per_file": per_file})
        plan = replace(plan, job=plan.job.model_copy(update={"output": output}))

    def make(staging: Path) -> list[Path]:
        new = make_files(plan, chosen, staging)
        return [*new, _amended_record(folder, new, staging)] if _same(folder, target) else new

    written = write_together(target, make, inputs=_inputs(folder))
    further = () if _same(folder, target) else _beside_others(target, plan)
    return [path for path in written if path.name != RECORD_NAME], replace(stored, notes=(*stored.notes, *further))


def format_lines() -> list[str]:
    """Describe every format in a line: name, files, what it is for, whether it is written by default.

    Returns
    -------
    list of str
        In columns.
    """
    entries = known_formats()
    rows = [(entry.name, ", ".join(entry.files) or "?", _what(entry)) for entry in entries]
    widths = [max(len(row[column]) for row in rows) for column in range(2)]
    return [f"{name:<{widths[0]}}  {files:<{widths[1]}}  {what}" for name, files, what in rows]


def _what(entry: Format) -> str:
    needs = f", with layoutplan[{entry.extra}]" if entry.extra else ""
    return entry.what if entry.by_default else f"{entry.what}; on request{needs}"


def _require_pages(chosen: Iterable[Format], *, apart: bool) -> None:
    """Refuse parts of what is taken for the whole by programs, or would lie where the whole is looked for."""
    able = ", ".join(entry.name for entry in known_formats() if entry.by_tower)
    for entry in chosen:
        if not entry.by_tower:
            raise OutputError(f"option --towers: '{entry.name}' is made of all towers only; of some: {able}.")
    if not apart:
        raise OutputError(
            "option --towers: pages of some towers are not put beside the whole plan; name a folder for them with "
            "--out."
        )


def _beside_others(target: Path, plan: Plan) -> tuple[str, ...]:
    """Name files of another plan that lie beside the new ones."""
    number = plan_number(plan)
    others, _ = misfits(target, {"plan_number": number})
    return tuple(f"'{target}': {name} belongs to plan {other}, not to plan {number}" for name, other in others.items())


def _inputs(folder: Path) -> list[Path]:
    """Inputs of a plan where they lay; whatever lies there now is not written over."""
    rows = read_plan_record(folder).get("inputs", ())
    return [folder / place for row in rows if isinstance(place := row.get("path"), str) and "\0" not in place]


def _same(one: Path, other: Path) -> bool:
    return one.resolve() == other.resolve()


def _require_columns(plan: Plan, folder: Path) -> None:
    """Refuse tables that somebody took columns from."""
    for name, table in TABLES.items():
        if missing := table.lacking(getattr(plan, name)):
            raise OutputError(
                f"'{folder}': layer '{name}' of plan.gpkg has no column {', '.join(missing[:5])}. Plan again into this "
                "folder."
            )


def _refuse_other_plan(folder: Path, target: Path) -> None:
    """Two plans in one folder would sooner or later be mixed up on site."""
    theirs = target / RECORD_NAME
    if theirs.is_file() and not _same(folder, target) and sha256(theirs) != sha256(folder / RECORD_NAME):
        raise OutputError(f"'{target}': holds another plan. Choose another folder for the files.")


def _amended_record(folder: Path, new: Sequence[Path], staging: Path) -> Path:
    """Name new files in the plan's record, so that a later plan in this folder knows them for its forerunner's."""
    record = read_plan_record(folder)
    fresh = [{"file": path.name, "sha256": sha256(path)} for path in new]
    names = {path.name for path in new}
    kept = [entry for entry in record.get("files", ()) if entry["file"] not in names]
    record["files"] = sorted([*kept, *fresh], key=lambda entry: str(entry["file"]))
    path = staging / RECORD_NAME
    path.write_text(json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False) + "\n", "utf-8")
    return path
