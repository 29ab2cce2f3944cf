"""The command ``layoutplan``: a group of thin commands, each in a module of its own, imported when it is called."""

from __future__ import annotations

import logging
import os
import sys
import traceback
import warnings
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from layoutplan import __version__
from layoutplan.cli.common import BAD_INPUT, STOPPED
from layoutplan.cli.streams import leave, use_streams
from layoutplan.cli.watch import end_when_asked, watched
from layoutplan.errors import JobError, LayoutPlanError

_NO_MEMORY = (
    "this machine has not enough memory for that. Cut map layers and elevation model to some kilometres around the "
    "line."
)
_LONGEST_PATH = 3_900  # bytes; 4,096 with the names of the files in it are what most systems take
_COMMANDS = {
    "start": "Write a job file to fill in.",
    "inspect": "Read all inputs of a job and report what was found.",
    "plan": "Plan the electrode positions of every tower.",
    "export": "Make further files from a written plan.",
    "explain": "Report why the stakes of one tower stand where they stand.",
    "check": "Check stakes that were moved or staked against the plan's rules.",
    "compare": "Report what changed between two plans.",
    "profile": "Plot voltage and bias at one tower, and along its line.",
    "qgis-plugin": "Write the plug-in for QGIS as a zip file.",
}


class _Place(click.Path):
    """A file or folder whose name a file system can take."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Refuse names that would lead to the folder one stands in, or nowhere."""
        text = os.fspath(value)
        if not text.strip() or "\0" in text:
            self.fail("the name of a file or folder is expected, not nothing.", param, ctx)
        if len(os.fsencode(text)) > _LONGEST_PATH or any(len(os.fsencode(part)) > 255 for part in Path(text).parts):
            self.fail(f"'{text[:40]}…' is a longer name than file systems take. Choose a shorter one.", param, ctx)
        return super().convert(value, param, ctx)


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
        if not isinstance(command, click.Command):
            return None
        for option in command.params:
            if isinstance(option.type, click.Path) and not isinstance(option.type, _Place):
                option.type = _Place(path_type=Path)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, package_name="layoutplan")
def cli() -> None:
    """Plan where the auxiliary electrodes for tower-earthing measurements can go.

    Exit codes: 0 every tower has a layout; 1 finished, but some tower has none; 2 bad input or usage; 70 an error that
    was not foreseen; 130 stopped with Ctrl+C.
    """


def main() -> None:
    """Run the command line; it can be stopped wherever it is (`cli.watch`)."""
    use_streams()
    code = watched()
    if code is None:
        end_when_asked()
        code = run(sys.argv[1:])
    elif code < 0:
        from layoutplan.cli.report import UNFORESEEN, ended_message

        click.echo(ended_message(-code, sys.argv[1:]), err=True)
        code = UNFORESEEN
    leave(code)


def _silence_libraries() -> None:
    """Keep what libraries say to programmers to themselves, what goes wrong while they say it included."""
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)
    sys.unraisablehook = lambda _unraisable: None


def _require_names(arguments: list[str]) -> None:
    """Refuse names that the libraries for maps cannot take: they know UTF-8 only."""
    try:
        names = [*arguments, os.getcwd()]
    except OSError as err:
        raise JobError("the folder that this was started in is gone. Change to another one and run again.") from err
    for name in names:
        try:
            name.encode()
        except UnicodeEncodeError as err:
            shown = name.encode("ascii", "replace").decode()
            fix = "Rename it" if sys.getfilesystemencoding() == "utf-8" else "Set a UTF-8 locale, or PYTHONUTF8=1"
            raise JobError(f"'{shown}': this name of a file or folder is not UTF-8 text. {fix}.") from err


def run(arguments: list[str]) -> int:
    """Run the command and return its exit code; what nobody foresaw gives a report."""
    if not sys.warnoptions and "--debug" not in arguments:
        _silence_libraries()
    try:
        _require_names(arguments)
        code = cli(arguments, prog_name="layoutplan", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0 if end.code is None else BAD_INPUT
    except click.ClickException as err:
        err.show()
        return err.exit_code
    except (KeyboardInterrupt, click.Abort):
        return STOPPED
    except LayoutPlanError as err:
        if "--debug" in arguments:
            traceback.print_exception(err)
        else:
            click.echo(f"error: {err}", err=True)
        return BAD_INPUT
    except MemoryError:
        click.echo(f"error: {_NO_MEMORY}", err=True)
        return BAD_INPUT
    except Exception as err:
        from layoutplan.cli.report import UNFORESEEN, write_report

        if "--debug" in arguments:
            traceback.print_exception(err)
        click.echo(write_report(err, arguments), err=True)
        return UNFORESEEN
