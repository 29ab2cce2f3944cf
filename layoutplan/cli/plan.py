"""``layoutplan plan``: the main job."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from layoutplan.cli.common import (
    alone,
    debug_option,
    errors_in_words,
    print_json,
    progress,
    since_start_s,
    telling_what_is_kept,
)
from layoutplan.cli.terminal import show


@click.command("plan")
@click.argument("job_file", type=click.Path(path_type=Path), metavar="JOB.toml")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Folder for the plan.")
@click.option(
    "--over", type=click.Path(path_type=Path), metavar="FILE", help="Job file that overrides keys of JOB.toml."
)
@click.option("--quiet", is_flag=True, help="No progress and no summary.")
@click.option("--json", "as_json", is_flag=True, help="Progress and result as JSON lines on stdout.")
@click.option("--timings", is_flag=True, help="Report how long each stage took.")
@debug_option
def command(
    job_file: Path, out: Path, over: Path | None, quiet: bool, as_json: bool, timings: bool, debug: bool
) -> None:
    """Plan the electrode positions of every tower of JOB.toml and write them into DIR.

    With --over the keys of FILE override those of JOB.toml; its layers, land and fixed stakes are added.

    Exit codes: 0 every tower has a layout; 1 finished, but some tower has none; 2 bad input or usage.
    """
    with errors_in_words(debug):
        from layoutplan.errors import OutputError

        if out.exists() and not out.is_dir():
            raise OutputError(
                f"'{out}': is not a folder. Choose another folder for the plan. Nothing was changed there."
            )
        from layoutplan.cli.summary import result_event, summary_lines
        from layoutplan.job import load_job
        from layoutplan.outputs import refuse_job_inputs, write_plan
        from layoutplan.planning.pipeline import plan

        job = load_job(job_file, over)
        refuse_job_inputs(out, job, (job_file, over))
        clock = {"start": since_start_s()}
        with alone(out), progress(quiet, as_json) as say:
            made = plan(job, say)
            clock |= made.timings_s
            say(95, "writing files")
            before_s = since_start_s()
            with telling_what_is_kept(out):
                files = write_plan(made, out)
            clock["writing"] = since_start_s() - before_s
            say(100, "done")
        clock["rest"] = since_start_s() - sum(clock.values())
        if as_json:
            print_json(result_event(made, out, files, clock))
        elif not quiet:
            show(summary_lines(made, files, clock if timings else {}))
        sys.exit(1 if made.summary["by_status"]["no layout"] else 0)
