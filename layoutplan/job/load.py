"""Reading a job file: TOML in, a validated :class:`Job` with absolute paths out."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from itertools import accumulate
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from layoutplan.errors import JobError
from layoutplan.files import why_not_read
from layoutplan.job.bounds import JOB_BYTES, NESTED_LEVELS
from layoutplan.job.model import Job
from layoutplan.job.overlay import laid_over
from layoutplan.job.terrain import Terrain
from layoutplan.text import clean

_NO_CODE = re.compile(r'"""[\s\S]*?"""|\'\'\'[\s\S]*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*')  # texts, remarks
_DOTTED = re.compile(rf"(?:\.[^.\n=]{{0,100}}){{{NESTED_LEVELS}}}")
_PATH_KEYS = ("path", "raster", "font")
_PATH_LIST_KEYS = ("files", "folders")
_KINDS = {  # of pydantic's errors: what is expected, in words of TOML
    "tuple_type": "a list is expected: values in [ ] with commas between, or tables each under its own [[ ]]",
    "string_type": "text in quotes is expected",
    "date_type": "a day is expected, without quotes: 2026-04-13",
    "date_parsing": "a day is expected, without quotes: 2026-04-13",
    "date_from_datetime_parsing": "a day is expected, without quotes: 2026-04-13",
    "date_from_datetime_inexact": "a day without a time is expected: 2026-04-13",
}
# their keys are values found in the user's data, which may well be "path"
_FREE_KEYS = ("class_map", "permission_map", "structure_map")


def load_job(path: str | Path, over: str | Path | None = None) -> Job:
    """Read and check a job file.

    Parameters
    ----------
    path : str or Path
        A TOML file; relative paths in it are taken from its folder.
    over : str or Path, optional
        A second one, laid over it: its keys count, its layers are added (`layoutplan.job.overlay`).

    Returns
    -------
    Job
        Frozen, with absolute paths.

    Raises
    ------
    JobError
        The file is missing, is not TOML, has an unknown key, or a value out of range.

    Examples
    --------
    >>> job = load_job("sample_gis/job.toml")
    >>> print([line.id for line in job.lines], job.rules.reel_m, "m of lead on a reel")
    ['ostrel-varnau', 'kress-tee', 'tolvenz-varnau'] 150.0 m of lead on a reel
    """
    path = Path(path)
    folder = path.resolve().parent
    text = _read(path)
    table = _table(text, path)
    if over is not None:
        table = laid_over(table, _table(_read(Path(over)), Path(over)))
        path, text = Path(f"{path} with {over}"), ""  # a line number would be that of one file or of the other
    try:
        job = Job.model_validate(table)
    except ValidationError as err:
        raise JobError("\n".join(_messages(err, path, text)[:6])) from err
    job._folder = folder
    return job


class _Ground(BaseModel):
    """The part of a job file that names the elevation model."""

    terrain: Terrain = Terrain()


def load_terrain(path: str | Path) -> Terrain:
    """Read where the elevation model is; the rest of the job file may be missing, and is not looked at.

    Parameters
    ----------
    path : str or Path
        A TOML file; relative paths in it are taken from its folder.

    Returns
    -------
    Terrain
        Its elevation files and their unit.

    Raises
    ------
    JobError
        As `load_job`.

    Examples
    --------
    >>> [path.name for path in load_terrain("sample_gis/job.toml").files]
    ['dem.tif']
    """
    path = Path(path)
    text = _read(path)
    try:
        return _Ground.model_validate(_table(text, path)).terrain
    except ValidationError as err:
        raise JobError("\n".join(_messages(err, path, text)[:6])) from err


def _table(text: str, path: Path) -> dict[str, Any]:
    """Job file as a table with absolute paths."""
    if _is_deep(text):
        raise JobError(f"{path}: lists or tables nested more than {NESTED_LEVELS} deep. No key of a job is.")
    try:
        found = tomllib.loads(text)
        if _levels(found) > NESTED_LEVELS:
            raise RecursionError
    except tomllib.TOMLDecodeError as err:
        raise JobError(f"{path}: not valid TOML: {clean(err)[:200]}. {_toml_fix(text, str(err))}") from err
    except RecursionError as err:
        raise JobError(
            f"{path}: tables or lists more than {NESTED_LEVELS} levels deep within each other. A job file needs no "
            "more than six: look for a bracket that is not closed."
        ) from err
    except ValueError as err:  # Python refuses to read whole numbers of thousands of digits
        raise JobError(
            f"{_where_digits(text, path)}: a number of thousands of digits. Write the one that is meant."
        ) from err
    table: dict[str, Any] = _absolute(found, path.resolve().parent)
    return table


def _is_deep(text: str) -> bool:
    """Whether brackets or dotted keys nest deeper than any job: such a text takes the parser hours, or its stack."""
    bare = _NO_CODE.sub("", text)
    steps = (1 if char in "[{" else -1 for char in re.findall(r"[][{}]", bare))
    return max(accumulate(steps), default=0) > NESTED_LEVELS or _DOTTED.search(bare) is not None


def _levels(node: Any) -> int:
    """How many tables and lists lie within each other; counted without recursion, for there may be too many."""
    level, here = 0, [node]
    while here := [item for item in here if isinstance(item, dict | list)]:
        level += 1
        here = [inner for item in here for inner in (item.values() if isinstance(item, dict) else item)]
    return level


def _where_digits(text: str, path: Path) -> str:
    found = next((number for number, line in enumerate(text.splitlines(), 1) if re.search(r"[\d_]{1000}", line)), None)
    return str(path) if found is None else f"{path}, line {found}"


def _toml_fix(text: str, why: str) -> str:
    """How to mend the line that a TOML error names: the two habits that most often lead to one, or in general."""
    found = re.search(r"at line (\d+)", why)
    line = text.splitlines()[int(found[1]) - 1] if found and int(found[1]) <= len(text.splitlines()) else ""
    if "\\" in line:
        return "Write paths with / or in single quotes: a backslash in double quotes begins a special character."
    if re.search(r"=\s*-?\d+,\d", line):
        return "Write numbers with a decimal point, not a comma."
    return "Correct that line and run again."


def _read(path: Path) -> str:
    if why := why_not_read(path):
        raise JobError(f"{path}: {why}")
    try:
        if (size := path.stat().st_size) > JOB_BYTES:
            raise JobError(f"{path}: {size / 1e6:,.0f} MB, and a job file has some kilobytes. Name the job file.")
        return path.read_text("utf-8-sig")
    except FileNotFoundError as err:
        raise JobError(f"{path}: no such job file. 'layoutplan start DIR' writes one to fill in.") from err
    except UnicodeDecodeError as err:
        raise JobError(f"{path}: not UTF-8 text (byte {err.start}). Save the job file as UTF-8.") from err
    except IsADirectoryError as err:
        raise JobError(f"{path}: cannot be read: a folder. Name the job file in it.") from err
    except (OSError, ValueError) as err:  # a null character in a name is a ValueError
        told = err.strerror if isinstance(err, OSError) else clean(err)
        raise JobError(f"{clean(path)[:200]}: cannot be read: {told}. Name a job file.") from err


def _absolute(node: Any, folder: Path) -> Any:
    """Resolve every ``path`` key against the job file's folder, but not where ``path`` is a value of the user's map."""
    if isinstance(node, dict):
        return {key: _absolute_value(key, value, folder) for key, value in node.items()}
    return [_absolute(item, folder) for item in node] if isinstance(node, list) else node


def _absolute_value(key: str, value: Any, folder: Path) -> Any:
    if key in _FREE_KEYS:
        return value
    if key in _PATH_LIST_KEYS and isinstance(value, list):
        return [_joined(folder, item) if isinstance(item, str) else item for item in value]
    return _joined(folder, value) if key in _PATH_KEYS and isinstance(value, str) else _absolute(value, folder)


def _joined(folder: Path, name: str) -> str:
    """Path from the folder; nothing stays nothing, so that it is refused and not taken for the folder itself."""
    return str(folder / name) if name.strip() else name


def _messages(err: ValidationError, path: Path, text: str) -> list[str]:
    lines = []
    problems = err.errors(include_url=False)
    for problem in problems:
        if problem["type"] == "too_short" and len(problems) > 1:
            continue  # only says again that the items above were refused
        loc = problem["loc"]
        where = f"{path}, line {number}" if (number := _line_number(text, loc)) else str(path)
        lines.append(f"{where}: {_words(problem, loc)}")
    return lines


def _words(problem: Any, loc: tuple[int | str, ...]) -> str:
    key = _dotted(loc)
    if problem["type"] == "extra_forbidden":
        near = get_close_matches(str(loc[-1]), _known_keys(loc[:-1]), 1, 0.5)
        known = f"did you mean '{near[0]}'?" if near else f"known here: {', '.join(_known_keys(loc[:-1]))}."
        return f"unknown key '{clean(key)[:200]}'; {known}"
    if problem["type"] == "missing" and isinstance(loc[-1], int):
        return f"'{_dotted(loc[:-1])}': too few values."
    if problem["type"] == "missing":
        return f"key '{key}' is missing; it has no default."
    if problem["type"] in ("model_type", "dict_type"):
        return f"'{key}': a table of keys is expected here, {{ key = value, … }} or under its own [{key}]."
    if problem["type"] == "path_type":
        return f"'{key}': a path in quotes is expected (found {_shown(problem['input'])})."
    if fix := _KINDS.get(problem["type"]):
        return f"'{key}': {fix} (found {_shown(problem['input'])})."
    message = problem["msg"].removeprefix("Value error, ").replace("Input should be", "must be")
    got = f" (found {_shown(problem['input'])})" if isinstance(problem["input"], str | int | float | bool) else ""
    return f"'{key}': {message}{got}." if key else f"{message}."


def _shown(value: object) -> str:
    if isinstance(value, int) and value.bit_length() > 200:
        return "a number of some hundred digits or more"
    return "a table" if isinstance(value, dict) else repr(value)[:60]


def _dotted(loc: tuple[int | str, ...]) -> str:
    return re.sub(r"\.(\d+)", r"[\1]", ".".join(str(part) for part in loc))


def _known_keys(loc: tuple[int | str, ...]) -> list[str]:
    model: Any = Job
    for part in loc:
        if isinstance(part, str) and isinstance(model, type) and issubclass(model, BaseModel):
            field = model.model_fields.get(part)
            model = _inner_model(field.annotation) if field else None
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = [_inner_model(arg) for arg in get_args(annotation)]
    return next((model for model in inner if model is not None), None)


def _line_number(text: str, loc: tuple[int | str, ...]) -> int | None:
    """Line of the key in the TOML text, or of the innermost table around it; None if neither is there."""
    best, deepest = None, 0
    here: tuple[int | str, ...] = ()
    counts: dict[tuple[int | str, ...], int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if match := re.match(r"\s*(\[\[?)\s*([^\]]+?)\s*\]", line):
            at = here = _header_loc(match[2].split("."), match[1] == "[[", counts)
        elif match := re.match(r"\s*([A-Za-z0-9_.-]+)\s*=", line):
            at = (*here, *match[1].split("."))
        else:
            continue
        if len(at) > deepest and at == loc[: len(at)]:
            best, deepest = number, len(at)
    return best


def _header_loc(names: list[str], is_item: bool, counts: dict[tuple[int | str, ...], int]) -> tuple[int | str, ...]:
    """Where a header stands in the tree, list items counted: ``[[lines.load]]`` may be ``lines``, 1, ``load``, 0."""
    loc: tuple[int | str, ...] = ()
    for place, name in enumerate(names, 1):
        loc += (name,)
        if is_item and place == len(names):
            counts[loc] = counts.get(loc, -1) + 1
        if loc in counts:
            loc += (counts[loc],)
    return loc
