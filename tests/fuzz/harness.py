"""One example after the other, in processes with limits, held against what must always be true.

Whatever the input: an exit code of 0, 1, 2 or 130 in bounded time and memory, no traceback, an earlier plan untouched
unless a new one is written, no request to any server, no file outside the folder for the output.
"""

from __future__ import annotations

import gc
import hashlib
import io
import json
import os
import resource
import select
import shutil
import signal
import socket
import time
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.fuzz import mutate, seeds

CPU_S, WALL_S = 20, 120
MEMORY_BYTES = 3 * 2**30  # beyond what the libraries take when they are loaded
FILE_BYTES = 300 * 2**20
_GOOD = (0, 1, 2, 130)
_MODULES = ("plan", "inspect", "explain", "check", "compare", "export", "profile", "summary", "check_words")
Mutation = Callable[[bytes, Random], bytes]


@dataclass(frozen=True)
class Kind:
    """What is changed, in which seed, and what is run on it.

    Attributes
    ----------
    seed : str
        Name of a seed, with the formats of its map, towers and elevation model.
    file : str
        What is changed.
    mutations : tuple
        One is chosen; None stands for the changes of a database.
    commands : tuple of tuple of str
        One is chosen.
    """

    seed: tuple[str, str, str]
    file: str
    mutations: tuple[Mutation | None, ...]
    commands: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Found:
    """An example that broke a rule."""

    kind: str
    number: int
    command: str
    what: str


def _csv(data: bytes, random: Random) -> bytes:
    return mutate.cells(data, random, ",")


_READ = (*[("inspect", "job.toml")] * 5, ("plan", "job.toml", "--out", "plan"))
_PLAN = (
    ("explain", "plan", "2"),
    ("explain", "plan", "2"),
    ("compare", "plan", "plan_before"),
    ("compare", "plan_before", "plan"),
    ("export", "plan", "--to", "gpx,csv,geojson", "--out", "checked"),
    ("export", "plan", "--to", "kml,dxf", "--out", "checked"),
    ("check", "plan", "--out", "checked"),
    ("plan", "job.toml", "--out", "plan"),
)
_PLAIN = ("map.geojson", "towers.csv", "dem.tif")


def _layer(name: str, *mutations: Mutation | None, changed: str = "") -> Kind:
    return Kind((name, "", ""), changed or name, mutations, _READ)


def _ground(name: str, *mutations: Mutation | None) -> Kind:
    return Kind(("", "", name), name, mutations, _READ)


def _check(option: str, name: str, *mutations: Mutation | None) -> Kind:
    return Kind(_PLAIN, name, mutations, (("check", "plan", option, name, "--out", "checked"),))


KINDS = {
    "job": Kind(_PLAIN, "job.toml", (mutate.toml_tree, mutate.toml_tree, mutate.words, mutate.blind), _READ),
    "towers csv": Kind(("", "towers.csv", ""), "towers.csv", (_csv, _csv, mutate.words, mutate.blind), _READ),
    "towers gpkg": Kind(("", "towers.gpkg", ""), "towers.gpkg", (None, None, mutate.blind), _READ),
    "faults csv": Kind(_PLAIN, "faults.csv", (_csv, mutate.blind), _READ),
    "land geojson": Kind(_PLAIN, "land.geojson", (mutate.json_tree, mutate.words), _READ),
    "layer geojson": _layer("map.geojson", mutate.json_tree, mutate.json_tree, mutate.words, mutate.blind),
    "layer gpkg": _layer("map.gpkg", None, None, mutate.blind),
    "layer fgb": _layer("map.fgb", mutate.blind),
    "layer parquet": _layer("map.parquet", mutate.blind),
    "layer shp": _layer("map.shp", mutate.blind),
    "layer dbf": _layer("map.shp", mutate.blind, changed="map.dbf"),
    "layer prj": _layer("map.shp", mutate.words, mutate.blind, changed="map.prj"),
    "osm xml": _layer("map.osm", mutate.words, mutate.words, mutate.blind),
    "osm pbf": _layer("map.osm.pbf", mutate.blind),
    "dem tif": _ground("dem.tif", mutate.blind),
    "dem asc": _ground("dem.asc", mutate.words, mutate.blind),
    "dem vrt": _ground("dem.vrt", mutate.words, mutate.blind),
    "plan json": Kind(_PLAIN, "plan/plan.json", (mutate.json_tree, mutate.json_tree, mutate.blind), _PLAN),
    "plan gpkg": Kind(_PLAIN, "plan/plan.gpkg", (None, None, None, mutate.blind), _PLAN),
    "staked csv": _check("--staked", "staked.csv", _csv, mutate.words, mutate.blind),
    "staked gpx": _check("--staked", "staked.gpx", mutate.words, mutate.blind),
    "readings csv": _check("--readings", "readings.csv", _csv, mutate.words, mutate.blind),
}


class Bench:
    """Seeds written once, a listener for requests, and the program loaded once.

    Parameters
    ----------
    folder : Path
        For the seeds and the examples; other files are left alone.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._seeds: dict[tuple[str, str, str], Path] = {}
        self._listener = socket.create_server(("127.0.0.1", 0))
        server = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        self._environment = dict.fromkeys(("http_proxy", "https_proxy", "all_proxy", "ALL_PROXY"), server)
        self._environment |= {
            "HOME": str(folder / "home"),
            "TMPDIR": str(folder / "tmp"),
            "no_proxy": "",
            "NO_PROXY": "",
        }
        for name in ("home", "tmp"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        _load()
        _warm_up(self._seed(_PLAIN) / "job.toml")

    def close(self) -> None:
        """Close the listener."""
        self._listener.close()

    def examples(self, kind: str, numbers: Sequence[int]) -> list[Found]:
        """Run examples one after the other in one child process, which is replaced when it ends early."""
        found, left = [], list(numbers)
        self._seed(KINDS[kind].seed)  # in this process, for all children
        while left:
            done, wrong = self._batch(kind, left)
            found += wrong
            if done < len(left):  # the child was ended by one of them
                found.append(Found(kind, left[done], "", "the process was ended: a crash, or beyond time or memory"))
            left = left[done + 1 :]
        return found

    def _batch(self, kind: str, numbers: Sequence[int]) -> tuple[int, list[Found]]:
        """How many were run to their end by one child, and what they broke."""
        reads, writes = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                os.close(reads)
                self._limit()
                for number in numbers:
                    soft = int(time.process_time()) + CPU_S
                    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.RLIM_INFINITY))
                    found = self._example(kind, number)
                    os.write(writes, json.dumps([number, found and [found.command, found.what]]).encode() + b"\n")
            finally:
                os._exit(0)
        os.close(writes)
        lines = _lines(reads)
        os.close(reads)
        with suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told = [json.loads(line) for line in lines]
        return len(told), [Found(kind, number, *what) for number, what in told if what]

    def _limit(self) -> None:
        """Put a child under its limits; what libraries say beside the program goes nowhere."""
        os.environ.update(self._environment)
        nothing = os.open(os.devnull, os.O_RDWR)
        for number in (0, 1, 2):
            os.dup2(nothing, number)
        resource.setrlimit(resource.RLIMIT_FSIZE, (FILE_BYTES, FILE_BYTES))
        resource.setrlimit(resource.RLIMIT_AS, (_address_space() + MEMORY_BYTES,) * 2)

    def _example(self, kind: str, number: int) -> Found | None:
        """Run one example in this process; the same number gives the same one."""
        random, about = Random(f"{kind} {number}"), KINDS[kind]
        here = self.folder / "example"
        shutil.rmtree(here, ignore_errors=True)
        shutil.copytree(self._seed(about.seed), here)
        command = _change(here, about, random)
        before = _state(here)
        start = time.process_time()
        code, said = _run(here, command)
        took_s = time.process_time() - start
        what = _wrong(here, code, said, took_s, before) or self._left_outside() or self._asked()
        return Found(kind, number, " ".join(command), what) if what else None

    def _seed(self, about: tuple[str, str, str]) -> Path:
        if about not in self._seeds:
            path = self.folder / f"seed_{len(self._seeds)}"
            seeds.write_seed(path, layer=about[0], towers=about[1], dem=about[2])
            if about == _PLAIN:
                _plan_in_child(path)
                shutil.copytree(path / "plan", path / "plan_before")
                seeds.write_staked(path, path / "plan")
            self._seeds[about] = path
        return self._seeds[about]

    def _left_outside(self) -> str:
        """Name files in the user's folders; what libraries keep there for themselves is theirs."""
        found = [path.name for name in ("home", "tmp") for path in (self.folder / name).iterdir()]
        found = [name for name in found if name not in (".cache", ".config")]
        for name in ("home", "tmp"):
            shutil.rmtree(self.folder / name)
            (self.folder / name).mkdir()
        return f"files outside the folder: {found[:5]}" if found else ""

    def _asked(self) -> str:
        asked = 0
        while select.select([self._listener], [], [], 0)[0]:
            self._listener.accept()[0].close()
            asked += 1
        return f"{asked} request(s) to a server" if asked else ""


def _load() -> None:
    """Load all that the commands need, once for all examples."""
    from importlib import import_module

    for name in _MODULES:
        import_module(f"layoutplan.cli.{name}")
    for name in ("planning.pipeline", "checking.check", "reports.explain", "reports.compare", "reports.inspect"):
        import_module(f"layoutplan.{name}")
    for name in ("written.export", "outputs.checked", "outputs.write"):
        import_module(f"layoutplan.{name}")
    gc.collect()
    gc.freeze()  # so that examples share memory


def _plan_in_child(folder: Path) -> None:
    """Plan a seed in a process of its own, for the command line changes what it runs in."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            code, _ = _run(folder, ("plan", "job.toml", "--out", "plan"))
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    if not os.WIFEXITED(status) or os.WEXITSTATUS(status) not in (0, 1):
        raise RuntimeError(f"the seed in {folder} gives no plan ({status})")


def _warm_up(job: Path) -> None:
    """Use what is used by all examples once, so that not each of them sets it up anew."""
    from layoutplan.job import load_job
    from layoutplan.reports.inspect import inspect_job

    inspect_job(load_job(job))


def _change(here: Path, about: Kind, random: Random) -> tuple[str, ...]:
    command = random.choice(about.commands)
    mutation = random.choice(about.mutations)
    path = here / about.file
    if mutation is None:
        mutate.database(str(path), random)
    else:
        path.write_bytes(mutation(path.read_bytes(), random))
    return command


def _run(folder: Path, command: Sequence[str]) -> tuple[int, str]:
    """Run a command as ``main`` would: its exit code and what it said."""
    from layoutplan.cli.main import run

    said, before = io.StringIO(), Path.cwd()
    os.chdir(folder)
    try:
        with redirect_stdout(said), redirect_stderr(said):
            return run(list(command)), said.getvalue()
    finally:
        os.chdir(before)


def _lines(reads: int) -> list[bytes]:
    """What a child tells until it ends, or is silent for too long."""
    told = b""
    while select.select([reads], [], [], WALL_S)[0]:
        part = os.read(reads, 65536)
        if not part:
            break
        told += part
    return told.split(b"\n")[:-1]


def _state(here: Path) -> dict[str, str]:
    paths = sorted(path for path in here.rglob("*") if path.is_file())
    return {str(path.relative_to(here)): hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}


def _wrong(here: Path, code: int, said: str, took_s: float, before: dict[str, str]) -> str:
    """Say which rule an example broke; empty if none."""
    if code not in _GOOD:
        return f"exit code {code} after {took_s:.1f} s: {_report(here) or said[-300:]}"
    after = _state(here)
    if "Traceback" in said:
        return f"a traceback: {said[-300:]}"
    if code == 2 and not said.strip():
        return "exit code 2 without a word"
    new = {name for name in after if after[name] != before.get(name)} | (set(before) - set(after))
    allowed = ("plan/", "checked/") if code in (0, 1) else ()
    odd = sorted(name for name in new if not name.startswith(allowed or ("\0",)))
    if odd:
        return f"exit code {code}, but files changed: {odd[:5]}"
    if left := [name for name in after if ".layoutplan-" in name]:
        return f"unfinished files left: {left[:3]}"
    return ""


def _report(here: Path) -> str:
    """Where an error that was not foreseen came from, out of its report."""
    for path in here.glob("layoutplan_report_*.txt"):
        lines = path.read_text("utf-8").splitlines()[8:]
        return " | ".join(line.strip() for line in lines if "layoutplan/" in line or (line and line[0] != " "))[-700:]
    return ""


def _address_space() -> int:
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    return pages * resource.getpagesize()
