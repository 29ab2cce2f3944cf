"""The ``layoutplan`` command of the user's own environment: where it is, how old it is, what surrounds it."""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path

LEAST_VERSION = (0, 1, 0)
VARIABLE = "LAYOUTPLAN_CLI"
SETTING_PLACE = "Settings > Options > Processing > Providers > layoutplan"
INSTALL_LINE = "pipx install PATH_OF_LAYOUTPLAN"  # its folder or wheel; the plug-in cannot know where that is
# the desktop program's own Python, GDAL, PROJ and Qt; each would be loaded in place of the command's
_NOT_PASSED_ON = (
    *("PYTHONHOME", "PYTHONPATH", "PYTHONEXECUTABLE", "PYTHONSTARTUP", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__"),
    *("PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH"),
    *("LD_LIBRARY_PATH", "LD_PRELOAD", "DYLD_LIBRARY_PATH", "QT_PLUGIN_PATH", "QGIS_PREFIX_PATH"),
)
_VERSION_WAIT_S = 60.0  # a first start after an installation compiles the packages


class CommandError(Exception):
    """The command is not there, is too old, or failed; the text is meant for the user."""


def child_environment(surroundings: Mapping[str, str]) -> dict[str, str]:
    """Environment for the command: the desktop program's own settings taken out, plain UTF-8 put in."""
    kept = {name: value for name, value in surroundings.items() if name.upper() not in _NOT_PASSED_ON}
    return {**kept, "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}


def window_flags() -> int:
    """Flags of a child process; on Windows it opens no window of its own."""
    return int(getattr(subprocess, "CREATE_NO_WINDOW", 0))


def found_command(setting: str, surroundings: Mapping[str, str], home: Path, windows: bool) -> Path:
    """Path of the command: the setting, the environment variable, the search path, the usual folders.

    Parameters
    ----------
    setting : str
        What the user has set in the desktop program; empty if nothing.
    surroundings : mapping
        Environment of the desktop program.
    home : Path
        Home folder.
    windows : bool
        Whether programs end in ``.exe``.

    Raises
    ------
    CommandError
        It is nowhere, or a path was given at which it is not.
    """
    variable = f"the environment variable {VARIABLE}"
    for given, where in ((setting, SETTING_PLACE), (surroundings.get(VARIABLE, ""), variable)):
        if given.strip():
            path = Path(given.strip().strip('"')).expanduser()
            if not _is_program(path):
                raise CommandError(f"'{path}' is no program. Correct the path, or empty it; it is set under: {where}")
            return path
    name = "layoutplan.exe" if windows else "layoutplan"
    for folder in _folders(surroundings, home, windows):
        if _is_program(folder / name):
            return folder / name
    raise CommandError(
        f"The command 'layoutplan' was not found. Install it once, in a terminal:  {INSTALL_LINE}\n"
        f"If it is installed already, give its full path under {SETTING_PLACE}, or in the environment variable "
        f"{VARIABLE}."
    )


def _folders(surroundings: Mapping[str, str], home: Path, windows: bool) -> Iterator[Path]:
    # a desktop started from a menu often lacks the search path of the terminal, hence the usual folders
    for text in surroundings.get("PATH", "").split(os.pathsep):
        if os.path.isabs(text):  # never out of the folder that happens to be the current one
            yield Path(text)
    yield home / ".local" / "bin"  # pipx and uv, on every system
    if not windows:
        yield from (Path("/opt/homebrew/bin"), Path("/usr/local/bin"))


def _is_program(path: Path) -> bool:
    return path.is_file() and os.access(path, os.X_OK)


def checked_version(command: Path, surroundings: Mapping[str, str]) -> str:
    """Version of the command; CommandError if it does not start, does not say, or is too old."""
    try:
        lines = subprocess.run(
            [str(command), "--version"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_VERSION_WAIT_S,
            env=child_environment(surroundings),
            creationflags=window_flags(),
            check=False,
        )
    except subprocess.TimeoutExpired as err:
        raise CommandError(f"'{command} --version' does not answer. Try it in a terminal.") from err
    except OSError as err:
        raise CommandError(f"'{command}' cannot be started ({err.strerror}). {_again()}") from err
    match = re.search(r"version (\d+)\.(\d+)\.(\d+)", lines.stdout.decode("utf-8", "replace"))
    if lines.returncode or match is None:
        last = lines.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        raise CommandError(f"'{command} --version' does not work: {last or 'it says no version'}. {_again()}")
    if tuple(map(int, match.groups())) < LEAST_VERSION:
        least = ".".join(map(str, LEAST_VERSION))
        raise CommandError(
            f"'{command}' is version {'.'.join(match.groups())}, this plug-in needs {least} or newer. Install a "
            "newer one, in a terminal:  pipx install --force PATH_OF_LAYOUTPLAN"
        )
    return ".".join(match.groups())


def _again() -> str:
    return (
        f"If that is not layoutplan, correct the path in {SETTING_PLACE}, or in {VARIABLE}; else install it again, in "
        f"a terminal:  {INSTALL_LINE}"
    )
