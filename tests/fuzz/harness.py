"""One example after the other, each in a process of its own with limits, held against what must always be true.

Whatever the input: an exit code of 0, 1, 2 or 130 in bounded time and memory, no traceback, an earlier plan untouched
unless a new one is written, no request to any server, no file outside the folder for the output.
"""

from __future__ import annotations

import gc
import hashlib
import os
import resource
import select
import shutil
import signal
import socket
import sys
import time
from collections.abc import Callable, Sequence
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

    def example(self, kind: str, number: int) -> Found | None:
        """Run one example; the same number gives the same one."""
        random, about = Random(f"{kind} {number}"), KINDS[kind]
        here = self.folder / "example"
        shutil.rmtree(here, ignore_errors=True)
        shutil.copytree(self._seed(about.seed), here)
        command = _change(here, about, random)
        before = _state(here)
        code, said, took_s = self._run(here, command)
        what = _wrong(code, said, took_s, before, _state(here)) or self._left_outside() or self._asked()
        return Found(kind, number, " ".join(command), what) if what else None

    def _seed(self, about: tuple[str, str, str]) -> Path:
        if about not in self._seeds:
            path = self.folder / f"seed_{len(self._seeds)}"
            seeds.write_seed(path, layer=about[0], towers=about[1], dem=about[2])
            if about == _PLAIN:
                code, said, _ = self._run(path, ("plan", "job.toml", "--out", "plan"))
                assert code in (0, 1), said
                shutil.copytree(path / "plan", path / "plan_before")
                seeds.write_staked(path, path / "plan")
            self._seeds[about] = path
        return self._seeds[about]

    def _run(self, folder: Path, command: Sequence[str]) -> tuple[int, str, float]:
        """Run a command in a process of its own: its exit code, minus a signal, what it said, how long it took."""
        reads, writes = os.pipe()
        start = time.monotonic()
        child = os.fork()
        if child == 0:
            os.close(reads)
            self._be_child(folder, command, writes)
        os.close(writes)
        said = _all_said(reads, start + WALL_S)
        os.close(reads)
        if time.monotonic() - start >= WALL_S:
            os.kill(child, signal.SIGKILL)
        _, status, used = os.wait4(child, 0)
        code = os.WEXITSTATUS(status) if os.WIFEXITED(status) else -os.WTERMSIG(status)
        return code, said, used.ru_utime + used.ru_stime

    def _be_child(self, folder: Path, command: Sequence[str], pipe: int) -> None:
        code = 99
        try:
            os.chdir(folder)
            os.environ.update(self._environment)
            nothing = os.open(os.devnull, os.O_RDONLY)
            for number, stream in ((0, nothing), (1, pipe), (2, pipe)):
                os.dup2(stream, number)
            sys.stdout = sys.stderr = os.fdopen(1, "w", encoding="utf-8", errors="replace", closefd=False)
            resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
            resource.setrlimit(resource.RLIMIT_FSIZE, (FILE_BYTES, FILE_BYTES))
            resource.setrlimit(resource.RLIMIT_AS, (_address_space() + MEMORY_BYTES,) * 2)
            from layoutplan.cli.main import run

            code = run(list(command))
            sys.stdout.flush()
        finally:
            os._exit(code)

    def _left_outside(self) -> str:
        found = [path.name for name in ("home", "tmp") for path in (self.folder / name).iterdir()]
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
    for name in ("planning.pipeline", "planning.check", "planning.explain", "planning.compare", "planning.inspect"):
        import_module(f"layoutplan.{name}")
    for name in ("outputs.export", "outputs.checked", "outputs.write"):
        import_module(f"layoutplan.{name}")
    gc.collect()
    gc.freeze()  # so that examples share memory


def _warm_up(job: Path) -> None:
    """Use what is used by all examples once, so that not each of them sets it up anew."""
    from layoutplan.job import load_job
    from layoutplan.planning.inspect import inspect_job

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


def _all_said(reads: int, until: float) -> str:
    said = b""
    while (left := until - time.monotonic()) > 0:
        if select.select([reads], [], [], left)[0]:
            part = os.read(reads, 65536)
            if not part:
                break
            said = (said + part)[-20_000:]
    return said.decode("utf-8", "replace")


def _state(here: Path) -> dict[str, str]:
    paths = sorted(path for path in here.rglob("*") if path.is_file())
    return {str(path.relative_to(here)): hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}


def _wrong(code: int, said: str, took_s: float, before: dict[str, str], after: dict[str, str]) -> str:
    """Say which rule an example broke; empty if none."""
    if code not in _GOOD:
        return f"exit code {code} after {took_s:.1f} s: {_report(after) or said[-300:]}"
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


def _report(after: dict[str, str]) -> str:
    names = [name for name in after if name.startswith("layoutplan_report_")]
    return names[0] if names else ""


def _address_space() -> int:
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    return pages * resource.getpagesize()
