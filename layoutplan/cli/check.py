"""``layoutplan check``: positions that people moved or staked, held against the plan's rules."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from layoutplan.cli.common import alone, debug_option, errors_in_words, no_nan, print_json, telling_what_is_kept
from layoutplan.cli.terminal import caution_line, show

_FILE = click.Path(path_type=Path)


@click.command("check")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--staked", type=_FILE, metavar="FILE", help="As-staked points: GPX, CSV, any GIS file.")
@click.option("--crs", help="Coordinate reference system of the staked points, if their file carries none.")
@click.option("--readings", type=_FILE, metavar="FILE", help="CSV with the field readings.")
@click.option(
    "--tolerance",
    default=30.0,
    type=click.FloatRange(0.0, 10_000.0),
    callback=no_nan,
    show_default=True,
    metavar="M",
    help="Metres within which a point without a name is matched.",
)
@click.option("--job", "job_file", type=_FILE, metavar="FILE", help="Job file of the plan, for its elevation model.")
@click.option("--complete", is_flag=True, help="Every planned stake must be among the staked points.")
@click.option("--out", type=_FILE, metavar="DIR", help="Folder for the result; DIR/check if left out.")
@click.option("--json", "as_json", is_flag=True, help="Result as one JSON object on stdout.")
@debug_option
def command(
    folder: Path,
    staked: Path | None,
    crs: str | None,
    readings: Path | None,
    tolerance: float,
    job_file: Path | None,
    complete: bool,
    out: Path | None,
    as_json: bool,
    debug: bool,
) -> None:
    """Check the stakes now in plan.gpkg, or points staked in the field, against the rules of the plan in DIR.

    Nothing in the plan is changed; the result goes beside it. Planned stakes that are not among the staked points
    count as not surveyed yet.

    Exit codes: 0 every rule holds; 1 some rule is broken, or a stake is missing from plan.gpkg, or
    with --complete from the staked points; 2 bad input or usage.
    """
    with errors_in_words(debug):
        from layoutplan.checking.check import check_folder
        from layoutplan.cli.check_words import check_lines, check_result
        from layoutplan.layout.notes import CAUTIONS
        from layoutplan.outputs import refuse_inputs
        from layoutplan.outputs.checked import RESULTS, write_checked

        into, given = out or folder / "check", [path for path in (staked, readings, job_file) if path]
        refuse_inputs(into, RESULTS, given)
        with alone(folder if folder.is_dir() else None), telling_what_is_kept(into):
            found = check_folder(
                folder, staked=staked, crs=crs, readings=readings, tolerance_m=tolerance, job_file=job_file
            )
            files = write_checked(found.tables, found.crs, into, given, found.plan_number)
        whole = complete or staked is None
        if as_json:
            print_json(check_result(found, files, whole))
        else:
            show([*check_lines(found, files, whole), caution_line(CAUTIONS)])
        sys.exit(1 if len(found.broken) or (whole and len(found.missing)) else 0)
