"""The job of a written plan out of its record, and its elevation model found again: by its place and fingerprint."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from layoutplan.errors import InputError
from layoutplan.inputs.provenance import sha256_of
from layoutplan.job import Job, load_terrain
from layoutplan.job.given import with_given
from layoutplan.job.terrain import Terrain


def recorded_job(record: Mapping[str, Any], **changed: Any) -> Job:
    """Return the job of a plan out of its record; what had no say in it has none again.

    Parameters
    ----------
    record : mapping
        Of the plan.
    **changed
        Sections in place of the recorded ones.

    Returns
    -------
    Job

    Raises
    ------
    KeyError, ValidationError
        If the record was taken apart.
    """
    job = Job.model_validate(dict(record["settings"]) | changed)
    return with_given(job, record.get("given", ()))  # without it nothing counts as given: rather assumed than known


def found_terrain(
    record: Mapping[str, Any], folder: Path, job_file: str | Path | None = None
) -> tuple[Terrain, tuple[str, ...]]:
    """Settings of the ground with files that can be opened, and the names of those that were not found again.

    Parameters
    ----------
    record : mapping
        Of the plan: each input with its place relative to the plan's folder, where that was known, and its SHA-256.
    folder : Path
        Where the plan lies now.
    job_file : str or Path, optional
        Its ``terrain`` counts instead.

    Returns
    -------
    Terrain
        Without files if one of them is missing or is not, to the byte, the one that was planned with.
    tuple of str
    """
    if job_file is not None:
        return load_terrain(job_file), ()
    settings = record["settings"].get("terrain", {})
    names = [str(name) for name in settings.get("files", ())]
    rows = {str(row["file"]): row for row in record["inputs"] if row.get("used_for") == "terrain"}
    found = {name: place for name, row in rows.items() if (place := _found(row, folder)) is not None}
    lost = tuple(name for name in rows or names if name not in found)  # parts and side-cars count as well
    files = () if lost else tuple(found[name] for name in names if name in found)  # others lay far from all towers
    return Terrain.model_validate({**settings, "files": files}), lost


def _found(row: Mapping[str, Any], folder: Path) -> Path | None:
    """File of a row of the record; None unless it lies there and is the same to the byte."""
    place = row.get("path")
    if not isinstance(place, str) or PurePosixPath(place).is_absolute() or "\0" in place:
        return None
    path = (folder / place).resolve()
    try:
        return path if path.is_file() and sha256_of(path) == row.get("sha256") else None
    except (InputError, OSError):
        return None
