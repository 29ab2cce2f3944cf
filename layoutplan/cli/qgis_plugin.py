"""``layoutplan qgis-plugin``: the plug-in for QGIS as a zip file."""

from __future__ import annotations

from pathlib import Path

import click

from layoutplan.cli.common import debug_option, errors_in_words


@click.command("qgis-plugin")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE.zip", help="The new file.")
@debug_option
def command(out: Path, debug: bool) -> None:
    """Write the plug-in for QGIS, to be installed there with Plugins > Manage and Install > Install from ZIP.

    The plug-in starts this program; keep it installed.
    """
    with errors_in_words(debug):
        from layoutplan.qgis_plugin.package import write_plugin

        click.echo(f"written: {write_plugin(out)}")
