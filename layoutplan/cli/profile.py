"""``layoutplan profile``: plots of voltage and reading at one tower, and along its line."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words, telling_what_is_kept
from layoutplan.cli.terminal import caution_line, show


@click.command("profile")
@click.argument("job_file", type=click.Path(path_type=Path), metavar="JOB.toml")
@click.option("--tower", required=True, help="Id of the tower.")
@click.option("--line", help="Line of the tower, where several lines have one of that id.")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Folder for the plots.")
@click.option(
    "--format",
    "picture",
    type=click.Choice(["png", "svg"]),
    default="png",
    show_default=True,
    help="Kind of picture.",
)
@debug_option
def command(job_file: Path, tower: str, line: str | None, out: Path, picture: str, debug: bool) -> None:
    """Plot voltage and bias at one tower of JOB.toml against bearing and distance, and its line, into DIR.

    Beside each plot lies a CSV table of its figures. Earlier ones are replaced, all other files left alone.
    """
    with errors_in_words(debug):
        from layoutplan.job import load_job
        from layoutplan.outputs.profile_files import write_profile
        from layoutplan.outputs.record import paths_in
        from layoutplan.profiles.profile import profile, profile_lines

        job = load_job(job_file)
        made = profile(job, tower, line)
        inputs = [job_file, *paths_in(job.model_dump())]
        with telling_what_is_kept(out):
            files = write_profile(made.tables, made.unknown, made.rests_on, out, picture, inputs)
        show([*profile_lines(made), "written:", *(f"  {path}" for path in files)])
        show(["assumptions:", *(f"  - {text}" for text in made.assumptions), caution_line(made.cautions)])
