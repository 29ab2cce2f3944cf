"""Plans of the sample, made once for all tests and all processes that run them."""

import copyreg
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from types import MappingProxyType
from typing import Any

try:
    import fcntl
except ImportError:  # not on Windows: there every process makes its own
    fcntl = None


class Once:
    """Folders in a place that the processes of one run share; whoever comes first fills them, the others wait."""

    def __init__(self, base: Path) -> None:
        spread = fcntl is not None and "PYTEST_XDIST_WORKER" in os.environ
        self.place = (base.parent if spread else base) / "made_once"
        self.place.mkdir(exist_ok=True)

    def folder(self, name: str, make: Callable[[Path], None]) -> Path:
        """Return the folder of that name, filled by ``make``; to be read only."""
        folder, done = self.place / name, self.place / f"{name}.done"
        with (self.place / f"{name}.lock").open("w") as lock:
            if fcntl is not None:
                fcntl.flock(lock, fcntl.LOCK_EX)  # let go of when its process ends, however it does
            if not done.exists():
                folder.mkdir(exist_ok=True)
                make(folder)
                done.touch()
        return folder

    def thing(self, name: str, make: Callable[[], Any]) -> Any:
        """Return a copy of one's own of what ``make`` returns."""
        return taken(self.folder(name, lambda folder: keep(make(), folder)))

    def filled(self, name: str) -> Path | None:
        """Return the folder of that name if somebody filled it before."""
        return self.place / name if (self.place / f"{name}.done").exists() else None


def taken(folder: Path) -> Any:
    """A copy of one's own of what is kept in a folder."""
    with (folder / "pickle").open("rb") as file:
        return pickle.load(file)


def keep(thing: Any, folder: Path) -> None:
    """Keep a thing in a folder."""
    with (folder / "pickle").open("wb") as file:
        pickler = pickle.Pickler(file)
        pickler.dispatch_table = copyreg.dispatch_table | {MappingProxyType: _proxy}
        pickler.dump(thing)


def _proxy(mapping: MappingProxyType) -> tuple[Any, tuple[dict]]:
    return proxy_of, (dict(mapping),)


def proxy_of(mapping: dict) -> MappingProxyType:
    """A mapping that cannot be changed: the library pickles none."""
    return MappingProxyType(mapping)
