"""Write the pages that come from the code: python docs/generate.py. A test compares them with what is committed."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel

DOCS = Path(__file__).parent
sys.path.insert(0, str(DOCS.parent))

if TYPE_CHECKING:
    from collections.abc import Callable

    from pydantic.fields import FieldInfo

    from layoutplan.job import ObstacleClass
    from layoutplan.layout.schema import Column, Table

_JOB_HEAD = """\
# The job file

<!-- Written by docs/generate.py from the models in layoutplan/job/model.py: change those, not this page. -->

A job is a TOML file. Paths in it are relative to the file itself. Every quantity carries its unit in its key: `_m`
metres, `_mm` millimetres, `_deg` degrees, `_kv` kilovolts, `_a` amperes, `_ka` kiloamperes, `_hz` hertz, `_ohm` ohms,
`_ohm_m` ohm metres, `_s` seconds, `_pct` per cent. Unknown keys are refused, and the nearest known one is
suggested. Only `[[lines]]`, with the towers, has no default. `layoutplan start DIR` writes a commented file to fill in;
two finished ones are `sample_gis/job.toml` and `docs/examples/andorra_150kv.toml`.
"""
_CLASS_HEAD = """\
# Obstacle classes

<!-- Written by docs/generate.py from layoutplan/job/obstacle_classes.toml: change that, not this page. -->

What keeps a stake away and what a lead may cross. The keep-out is measured from the edge of the feature: of a mapped
area from its outline, of a feature mapped as a line from half its width. The width is what the feature's own tags or
columns say, else that of its tag, else that of its class. A stake may stand on `free` ground, with an agreement on
`agree` ground, never on `no` ground. A lead may cross what is `free`; what says
`care` it may, the crew taking care and nobody to be asked; what says `agree`
when somebody has said yes; what says `no` never.

**None of these distances comes from a published standard.** All are engineering judgement, except the distance to
transmission lines, which is common practice in the trade. Change them key by key in the job file under
`[classes.<name>]`.

A name that is not in this table is a class of the job's own, if it is given a `label`; layers name it like any other.
What else is not given is on the side of caution: no stake in it, no lead across.

```toml
[classes.leat]
label = "leat with a hollow bank"
keep_out_m = 2.0
lead_crossing = "care"
width_m = 1.0
on_foot = { effort = 2.0 }
look = { group = "water", area = false, line = "#4c86ae", width = 2 }
```

The map shows nothing of a class where it is silent on one of its themes: where houses are not mapped, nor are gardens,
yards and their fences (judgement). Of the other classes it is enough that the map reaches the place.

| class | what | stake | keep-out m | lead may cross | width m | themes of the map | basis |
| --- | --- | --- | --- | --- | --- | --- | --- |
"""
_RELAXING_HEAD = """
## Where a tower would have no layout

How far each class may give way then, and whom to ask; see [siting rules](siting_rules.md). Nothing nearer is ever
proposed. All of it is engineering judgement. A job changes the floor by `[classes.<name>] floor_m`.

| class | stake not nearer than m | to be agreed with | lead across |
| --- | --- | --- | --- |
"""
_ON_FOOT_HEAD = """
## On foot

Multiple of the time that open ground takes, and where nobody walks without a permission; classes that are not named are
open ground. A road, a bridge or a gate leads through what is blocked; see [getting there](getting_there.md). All of it
is engineering judgement. A job changes it by `access.walking` and `access.ask`.

| class | effort | permission |
| --- | --- | --- |
"""


def job_page() -> str:
    """Reference of the job file."""
    from layoutplan.job.template import job_sections, meaning, toml_value

    parts = [_JOB_HEAD]
    for header, purpose, fields in job_sections():
        parts.append(f"\n## `{header}`\n\n{purpose}\n\n| key | default | meaning |\n| --- | --- | --- |\n")
        for name, field in fields.items():
            default = "required" if field.is_required() else _default(field, toml_value)
            parts.append(f"| `{name}` | {default} | {meaning(field) or 'See its own section.'} |\n")
    return "".join(parts)


def _default(field: FieldInfo, write: Callable[[object], str]) -> str:
    if field.default is None or field.default_factory:
        return ""
    return "see its own section" if isinstance(field.default, BaseModel) else f"`{write(field.default)}`"


def class_page() -> str:
    """Table of obstacle classes with their tags."""
    from layoutplan.job import shipped_classes

    rows = [_CLASS_HEAD]
    for row in shipped_classes().values():
        rows.append(
            f"| `{row.name}` | {row.label} | {row.stake} | {row.keep_out_m:g} | {row.lead_crossing} | {row.width_m:g} "
            f"| {', '.join(f'`{theme}`' for theme in row.map_themes)} | {row.basis} |\n"
        )
    rows.append(_RELAXING_HEAD)
    for row in shipped_classes().values():
        if row.stake != "free":
            rows.append(f"| `{row.name}` | {_floor(row)} | {row.agreed_by} | {_across(row)} |\n")
    rows.append(_ON_FOOT_HEAD)
    for row in shipped_classes().values():
        foot = row.on_foot
        effort = "blocked" if foot.effort == "blocked" else f"{foot.factor:g}"
        if effort != "1" or foot.ask:
            rows.append(f"| `{row.name}` | {effort} | {'yes' if foot.ask else ''} |\n")
    rows.append("\n## OpenStreetMap tags\n\n| class | tags |\n| --- | --- |\n")
    rows += [
        f"| `{row.name}` | {', '.join(f'`{tag}`' for tag in row.osm_width_m)} |\n" for row in shipped_classes().values()
    ]
    return "".join(rows)


def _floor(row: ObstacleClass) -> str:
    if row.owner_may_agree:
        return "by agreement"
    return f"{row.keep_out_m if row.floor_m is None else row.floor_m:g}"


def _across(row: ObstacleClass) -> str:
    if not row.may_cross:
        return "never"
    return row.crossing_needs or "if agreed"


def command_page() -> str:
    """Help texts of all commands."""
    import click

    from layoutplan.cli.main import cli

    wide = {"terminal_width": 100, "max_content_width": 100, **cli.context_settings}
    context = click.Context(cli, info_name="layoutplan", **wide)
    parts = [
        "# Commands\n\n<!-- Written by docs/generate.py from the commands' own help. -->\n\n"
        "`layoutplan …` and `python -m layoutplan …` are the same. Messages and progress go to stderr, results to "
        "stdout.\n\n| exit code | meaning |\n| --- | --- |\n| 0 | every tower has a layout |\n"
        "| 1 | finished, but some tower has no layout |\n| 2 | bad input or usage; the message says what, where and "
        "how to fix it |\n| 70 | an error that was not foreseen: a fault of this program. A report, "
        "`layoutplan_report_….txt`, is written into the folder one stands in, or where that cannot be, into the one "
        "for passing files. It holds what is needed to fix the fault and no paths, names or data; read it through and "
        "send it in. An earlier plan is as it was |\n| 130 | stopped with Ctrl+C, within two seconds wherever the run "
        "is; nothing half-written is left (143 after SIGTERM, 129 when the terminal has gone) |\n\n"
        "What `check` and `compare` mean by 1 is explained below. With `--debug` an error comes with the place in the "
        "program where it arose. Where the reader of the output has gone (`| head`) the run goes on to its end; where "
        "the output cannot be written to it ends with 2.\n"
    ]
    for name in cli.list_commands(context):
        command = cli.get_command(context, name)
        assert command is not None
        own = click.Context(command, info_name=name, parent=context, **wide)
        parts.append(f"\n## {name}\n\n```text\n{command.get_help(own)}\n```\n")
    return "".join(parts)


def case_page() -> str:
    """Two cases in which the voltage moves a stake."""
    sys.path.insert(0, str(DOCS))
    import cases

    return cases.case_page()


_COLUMN_HEAD = """\
# Tables and columns

<!-- Written by docs/generate.py from layoutplan/layout/columns.toml: change that, not this page. -->

What is in every table that is written: name, name in plain words with the unit (desktop programs show it), type,
decimals, meaning, and what an empty cell means. Empty is null, in texts also a text without letters; *never* says that
no cell is. *none* says that there is nothing to name, *not given* that the input may hold it and does not. Bearings are
degrees clockwise in [0, 360), longitudes in [-180, 180). Where two numbers of decimals stand, the second is of files
that people read (`stakes.csv`, `plan.geojson`); *3 figures* says that a voltage has no more, below 1 V one.
"""
_SECTIONS = {
    "plan": "`plan.gpkg`, and the other formats of the same tables",
    "check": "`check.gpkg`",
    "comparison": "`compare --out`",
    "list": "CSV files",
    "profile": "Beside the plots of `profile`",
}
_FILES = ("list", "profile")  # sections whose tables are files of their own
_ALIKE = 8  # columns that a table must share with an earlier one for not being listed again


def columns_page() -> str:
    """Every table and column that is written."""
    from layoutplan.layout.schema import tables

    parts, earlier = [_COLUMN_HEAD], []
    for section, head in _SECTIONS.items():
        parts.append(f"\n## {head}\n")
        for table in tables(section).values():
            kind = {None: "", "Unknown": " (shapes of several kinds)"}.get(table.geometry, f" ({table.geometry})")
            name = f"`{table.title}`" if section in _FILES else f"`{table.name}`: {table.title}{kind}"
            parts.append(f"\n### {name}\n\n{table.meaning}\n")
            parts += _column_rows(table, earlier)
            earlier.append((section, table))
    return "".join(parts)


def _column_rows(table: Table, earlier: list[tuple[str, Table]]) -> Iterator[str]:
    """Rows of a table; those that an earlier one has are named only, where they are many."""
    same = {
        place: [each for each, column in table.columns.items() if other.columns.get(each) == column]
        for place, (_, other) in enumerate(earlier)
    }
    most = max(same, key=lambda place: len(same[place]), default=0)
    told = same[most] if earlier and len(same[most]) >= _ALIKE else []
    if told:
        section, other = earlier[most]
        yield f"\nColumns in order: {', '.join(f'`{each}`' for each in table.columns)}.\n"
        name = other.title if section in _FILES else f"{section}.gpkg, {other.name}"
        yield f"Those that are not listed here are as in `{name}`.\n"
    if len(told) < len(table.columns):
        yield f"\n| column | in plain words | type | decimals | meaning | empty |\n|{' --- |' * 6}\n"
    for column in table.columns.values():
        if column.name not in told:
            yield (
                f"| `{column.name}` | {column.title} | {column.type} | {_digits(column)} | {column.meaning} "
                f"| {', '.join(column.empty)} |\n"
            )


def _digits(column: Column) -> str:
    numbers = [column.decimals, column.shown if column.shown != column.decimals else None]
    told = ", ".join(str(number) for number in numbers if number is not None)
    return f"{told}; {column.figures} figures" if column.figures else told


_KINDS_FROM, _KINDS_TO = "<!-- from here written by docs/generate.py -->\n", "<!-- to here -->\n"


def limits_page() -> str:
    """Page of limits, with the kinds of file that are read as the code has them."""
    from layoutplan.inputs.door import RASTER_DRIVERS, VECTOR_DRIVERS
    from layoutplan.job.reading import Reading

    text = (DOCS / "limits.md").read_text("utf-8")
    before, after = text.split(_KINDS_FROM)[0], text.split(_KINDS_TO)[1]
    vectors, rasters = (
        ", ".join(f"{said} (`{name}`)" for name, said in kinds.items()) for kinds in (VECTOR_DRIVERS, RASTER_DRIVERS)
    )
    rows = "".join(
        f"| `reading.{name}` | {field.default:,} | {field.description} |\n"
        for name, field in Reading.model_fields.items()
        if isinstance(field.default, int)
    )
    made = (
        f"Vector files: {vectors}, and GeoParquet.\n\nRasters: {rasters}.\n\n"
        f"| key that lifts it | limit | of what |\n| --- | --- | --- |\n{rows}"
    )
    return f"{before}{_KINDS_FROM}{made}{_KINDS_TO}{after}"


PAGES = {
    "job_file.md": job_page,
    "obstacle_classes.md": class_page,
    "columns.md": columns_page,
    "commands.md": command_page,
    "voltage_cases.md": case_page,
    "limits.md": limits_page,
}

if __name__ == "__main__":
    for page, write in PAGES.items():
        (DOCS / page).write_text(write(), "utf-8")
