"""``layoutplan start``: a job file to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@debug_option
def command(folder: Path, debug: bool) -> None:
    """Write a commented job file, job.toml, into DIR. An existing one is left alone."""
    with errors_in_words(debug):
        from layoutplan.errors import OutputError
        from layoutplan.job.template import job_template

        path = folder / "job.toml"
        if folder.exists() and not folder.is_dir():
            raise OutputError(f"{folder} is a file. Name a folder; {path.name} is written into it.")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8") as file:
                file.write(job_template())
        except FileExistsError as err:
            raise OutputError(f"{path} exists and was left alone. Choose another folder, or edit it.") from err
        except OSError as err:
            raise OutputError(f"{path}: cannot be written: {err.strerror}. Choose another folder.") from err
        click.echo(f"{path}: fill it in, then run: layoutplan inspect {path}")
