"""The command ``layoutplan``: a group of thin commands, each in a module of its own, imported when it is called."""

from __future__ import annotations

import signal
import sys
from importlib import import_module
from typing import Any

import click

from layoutplan import __version__

_COMMANDS = {
    "start": "Write a job file to fill in.",
    "inspect": "Read all inputs of a job and say what was found.",
    "plan": "Plan the electrode positions of every tower.",
    "export": "Make further files from a written plan.",
    "explain": "Say for one tower why its stakes stand where they stand.",
    "check": "Hold stakes that were moved or staked against the plan's rules.",
    "compare": "Say what changed between two plans.",
    "profile": "Plot voltage and bias at one tower, and along its line.",
    "qgis-plugin": "Write the plug-in for QGIS as a zip file.",
}


class _Lazy(click.Group):
    """Commands listed by name and loaded when asked for, so that help comes at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in _COMMANDS:
            return None
        command: Any = import_module(f"layoutplan.cli.{cmd_name.replace('-', '_')}").command
        return command if isinstance(command, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, package_name="layoutplan")
def cli() -> None:
    """Plan where the auxiliary electrodes for tower-earthing measurements can go.

    Exit codes: 0 every tower has a layout; 1 finished, but some tower has none; 2 bad input or usage.
    """


def _ask_to_end(number: int, frame: object) -> None:
    """Leave as after Ctrl+C, so that unfinished files are removed."""
    del frame
    raise SystemExit(128 + number)


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, _ask_to_end)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a pipe may not know every letter of a tower's name
    cli()
