"""``layoutplan start``: a job file to fill in, or the sample to try."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--sample", is_flag=True, help="Write the sample valley and its jobs instead, ready to be planned.")
@debug_option
def command(folder: Path, sample: bool, debug: bool) -> None:
    """Write a commented job file, job.toml, into DIR. An existing one is left alone."""
    with errors_in_words(debug):
        from layoutplan.errors import OutputError
        from layoutplan.job.sample import write_sample
        from layoutplan.job.template import job_template

        path = folder / "job.toml"
        if folder.exists() and not folder.is_dir():
            raise OutputError(f"{folder} is a file. Name a folder; {path.name} is written into it.")
        if sample:
            path = write_sample(folder)
            click.echo(f"{path}: plan it with: layoutplan plan {path} --out {folder / 'plan'}")
            return
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8") as file:
                file.write(job_template())
        except FileExistsError as err:
            raise OutputError(f"{path} exists and was left alone. Choose another folder, or edit it.") from err
        except OSError as err:
            raise OutputError(f"{path}: cannot be written: {err.strerror}. Choose another folder.") from err
        click.echo(f"{path}: fill it in, then run: layoutplan inspect {path}")
