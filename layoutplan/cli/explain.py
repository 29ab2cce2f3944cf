"""``layoutplan explain``: one tower, with all reasons."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words, settle_folders
from layoutplan.cli.terminal import paint, show


@click.command("explain")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.argument("tower", metavar="TOWER")
@click.option("--line", help="Line of the tower, where several lines have one of that id.")
@click.option("--short", is_flag=True, help="One screen: rules not kept, ways out, setting out, handling of the leads.")
@debug_option
def command(folder: Path, tower: str, line: str | None, short: bool, debug: bool) -> None:
    """Report for one TOWER of the plan in DIR why its stakes stand where they stand, and why not elsewhere.

    On a terminal long lines are wrapped and verdicts coloured (not if NO_COLOR is set); elsewhere they are left as they
    are.
    """
    with errors_in_words(debug):
        from layoutplan.reports.explain import explain_tower

        settle_folders(folder)
        lines = explain_tower(folder, tower, line, short=short, paint=paint)
        show(lines)
