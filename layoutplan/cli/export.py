"""``layoutplan export``: further files of a plan that is written already."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import alone, debug_option, errors_in_words, telling_what_is_kept
from layoutplan.cli.terminal import caution_line, show

_FOLDER = click.Path(path_type=Path)


@click.command("export")
@click.argument("folder", type=_FOLDER, metavar="DIR", required=False)
@click.option("--to", "formats", metavar="FORMAT[,FORMAT…]", help="What to make; see --list.")
@click.option("--out", type=_FOLDER, metavar="DIR", help="Folder for the files; the plan's own if left out.")
@click.option("--split", "per_file", type=click.IntRange(3), metavar="N", help="At most N waypoints in one GPX file.")
@click.option("--job", "job_file", type=_FOLDER, metavar="FILE", help="Job file of the plan, for its elevation model.")
@click.option(
    "--towers",
    metavar="TOWERS",
    help="Map, review or sheets of these towers only: 103-110,T1 or LINE:103-110; needs --out.",
)
@click.option("--list", "as_list", is_flag=True, help="List the formats, those of installed packages too.")
@debug_option
def command(
    folder: Path | None,
    formats: str | None,
    out: Path | None,
    per_file: int | None,
    job_file: Path | None,
    towers: str | None,
    as_list: bool,
    debug: bool,
) -> None:
    """Make further files from the plan in DIR, without planning again.

    Exit codes: 0 all files are written; 2 bad input or usage.
    """
    with errors_in_words(debug):
        from layoutplan.written.export import export_plan, format_lines

        if as_list:
            show(format_lines())
            return
        if folder is None or not formats:
            raise click.UsageError("give the folder of a plan and --to FORMAT, or --list.")
        names = [name.strip() for name in formats.split(",") if name.strip()]
        if per_file is not None and "gpx" not in names:
            raise click.UsageError("--split goes with --to gpx.")
        with alone(folder if folder.is_dir() else None, out), telling_what_is_kept(out or folder):
            files, stored = export_plan(folder, names, out, per_file, job_file, towers)
        if stored.changed:
            click.echo(f"note: {stored.changed}", err=True)
        if stored.lost and "sheets" in names:
            click.echo(
                f"WARNING: these sheets are NOT those of the plan: their contours are missing, because "
                f"{', '.join(stored.lost)} is missing, moved or changed. Give the job file with --job.",
                err=True,
            )
        for text in stored.notes:
            click.echo(f"note: {text}", err=True)
        show(["written:", *(f"  {path}" for path in files), caution_line(stored.plan.cautions)])
