"""``layoutplan inspect``: what the inputs hold."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words
from layoutplan.cli.terminal import show


@click.command("inspect")
@click.argument("job_file", type=click.Path(path_type=Path), metavar="JOB.toml")
@debug_option
def command(job_file: Path, debug: bool) -> None:
    """Read all inputs of JOB.toml and report what was found, without planning."""
    with errors_in_words(debug):
        from layoutplan.job import load_job
        from layoutplan.reports.inspect import inspect_job

        show(inspect_job(load_job(job_file)))
