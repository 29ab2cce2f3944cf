"""``layoutplan explain``: one tower, with all reasons."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words, settle_folders


@click.command("explain")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.argument("tower", metavar="TOWER")
@click.option("--line", help="Line of the tower, where several lines have one of that id.")
@debug_option
def command(folder: Path, tower: str, line: str | None, debug: bool) -> None:
    """Say for one TOWER of the plan in DIR why its stakes stand where they stand, and why not elsewhere."""
    with errors_in_words(debug):
        from layoutplan.reports.explain import explain_tower

        settle_folders(folder)
        click.echo("\n".join(explain_tower(folder, tower, line)))
