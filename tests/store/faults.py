"""Runs that write into a folder, cut or disturbed at every single operation on files; the operations count themselves.

Started as a process of its own: one import, then a fork for each point. Python's audit events come before every opening
for writing, renaming, linking, deleting and making of folders, whoever asks for it; ``os.fsync`` has none and is
wrapped.
"""

import errno
import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path

WATCHED = ("open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.truncate")
KINDS = ("SIGKILL", "ENOSPC", "EIO", "SIGINT", "SIGINT twice")


class Counter:
    """Counts operations below a folder, and does something at one of them."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.point, self.count, self.kind = str(folder), -1, 0, ""
        self.names: list[str] = []
        fsync = os.fsync

        def counted(handle: int) -> None:
            self.at("fsync")
            fsync(handle)

        os.fsync = counted  # type: ignore[assignment]
        sys.addaudithook(self.hook)

    def hook(self, event: str, arguments: tuple[object, ...]) -> None:
        if event not in WATCHED:
            return
        if event == "open" and not (isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)):
            return
        if any(isinstance(name, str | os.PathLike) and self.folder in os.fspath(name) for name in arguments[:2]) or (
            event in ("os.remove", "os.rmdir") and not os.path.isabs(str(arguments[0]))  # below an open folder
        ):
            self.at(event)

    def at(self, name: str) -> None:
        number, self.count = self.count, self.count + 1
        self.names.append(name)
        if self.point < 0 or number < self.point:
            return
        if self.kind == "SIGINT twice" and number <= self.point + 1:
            os.kill(os.getpid(), signal.SIGINT)
        elif number == self.point:
            if self.kind == "SIGKILL":
                os.kill(os.getpid(), signal.SIGKILL)
            elif self.kind == "SIGINT":
                os.kill(os.getpid(), signal.SIGINT)
            else:
                code = getattr(errno, self.kind)
                raise OSError(code, os.strerror(code))


def forked(work: Callable[[], None], counter: Counter, point: int, kind: str) -> tuple[int, int, list[str]]:
    """Do something in a process of its own; return how it ended, how many operations it made, and their names."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        code = 0
        try:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            counter.count, counter.point, counter.kind, counter.names = 0, point, kind, []
            work()
        except KeyboardInterrupt:
            code = 130
        except BaseException as err:  # whatever comes, the parent judges what it left
            from layoutplan.errors import OutputError

            code = 2 if isinstance(err, OutputError) else 70
            if code == 70:
                import traceback

                traceback.print_exc()
        finally:
            counter.point = -1
            os.write(writing, json.dumps([counter.count, counter.names]).encode())
            os._exit(code)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        text = pipe.read()
    _, status = os.waitpid(child, 0)
    count, names = json.loads(text) if text else (0, [])
    return os.waitstatus_to_exitcode(status), count, names


def listing(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() if path.is_file() else b"" for path in sorted(folder.iterdir())}


def main(root: Path) -> None:
    """Try every point of a run that replaces a plan, then of the putting in order after each cut."""
    from factory.conftest import build_plan

    from layoutplan.outputs import write_plan
    from layoutplan.store import settle

    formats = ("csv", "gpx", "json")
    old, new = (
        build_plan(3, formats=(*formats, *more), lat=lat, hostile=False)
        for more, lat in ((("geojson",), 47.0), ((), 47.1))
    )
    start, folder = root / "start", root / "folder"
    write_plan(old, start)
    (start / "notes.txt").write_text("the user's own")
    with (start / "stakes.csv").open("a") as file:
        file.write("a note of the user's\r\n")
    counter = Counter(folder)

    def fresh() -> None:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(start, folder)

    def write() -> None:
        write_plan(new, folder)

    def order() -> None:
        settle(folder)

    fresh()
    before = listing(folder)
    code, points, names = forked(write, counter, -1, "")
    after = listing(folder)
    assert code == 0, "the undisturbed run"
    faults: list[str] = []
    cut: dict[int, Path] = {}
    ends: dict[str, int] = {}
    tried = 0
    for point in range(points):
        for kind in KINDS:
            fresh()
            code, *_ = forked(write, counter, point, kind)
            tried += 1
            ends[f"{kind}: {code}"] = ends.get(f"{kind}: {code}", 0) + 1
            if kind == "SIGKILL":
                cut[point] = root / f"cut {point}"
                shutil.copytree(folder, cut[point], symlinks=True)
            if code not in (-9, 0, 2, 130):
                faults.append(f"{kind} at {point} ({names[point]}): ended with {code}")
            settle(folder)
            left = listing(folder)
            if left not in (before, after):
                faults.append(f"{kind} at {point} ({names[point]}): {sorted(left)}")
    for point, state in cut.items():
        seen = {name for name in listing(state) if name.startswith(".layoutplan")}
        if not seen & {".layoutplan.journal", ".layoutplan.undo"}:
            continue  # nothing was moved yet, or all is done
        shutil.rmtree(folder)
        shutil.copytree(state, folder, symlinks=True)
        _, further, again = forked(order, counter, -1, "")
        for second in range(further):
            for kind in ("SIGKILL", "EIO"):
                shutil.rmtree(folder)
                shutil.copytree(state, folder, symlinks=True)
                forked(order, counter, second, kind)
                tried += 1
                settle(folder)
                if listing(folder) not in (before, after):
                    faults.append(f"SIGKILL at {point}, then {kind} at {second} ({again[second]})")
    sys.stdout.write(
        json.dumps({"points": points, "tried": tried, "ends": ends, "faults": faults, "operations": sorted(set(names))})
    )


if __name__ == "__main__":
    import types

    package = sys.modules["factory"] = types.ModuleType("factory")
    package.__path__ = [sys.argv[1]]
    main(Path(sys.argv[2]))
