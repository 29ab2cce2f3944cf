"""What all tests share: how many examples they try, and plans made once for all processes."""

import json
import os
import socket
from collections import Counter
from pathlib import Path

import pytest

from .effort import EVERYTHING, examples
from .made_once import Once, keep, taken

ROOT = Path(__file__).parents[1]


QGIS_TESTS = Path(__file__).parent / "qgis"


EXAMPLES = {"electrical": 50, "exposure": 5}  # of each property where the test itself says nothing


def pytest_configure(config):
    """Try all examples when the tests marked ``long`` are not left out."""
    if "not long" not in config.option.markexpr:
        os.environ[EVERYTHING] = "1"


@pytest.hookimpl(hookwrapper=True)
def pytest_make_collect_report(collector):
    """Give each folder its own number of examples, whatever was read before it; the same ones every time."""
    if isinstance(collector, pytest.Module) and QGIS_TESTS not in collector.path.parents:
        from hypothesis import settings

        count = EXAMPLES.get(collector.path.parent.name, 100)
        profile = f"layoutplan-{count}"
        settings.register_profile(profile, deadline=None, max_examples=examples(count), derandomize=True, database=None)
        settings.load_profile(profile)
    yield


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Of a test marked ``first(n)`` the ordinary run tries so many cases; the others are long."""
    tried = Counter()
    for item in items:
        for mark in item.iter_markers("first"):
            test = item.nodeid.partition("[")[0]
            tried[test] += 1
            if tried[test] > mark.args[0]:
                item.add_marker(pytest.mark.long)


def pytest_ignore_collect(collection_path, config):
    """Leave the tests of the plug-in out unless they are asked for: they need the Python that QGIS came with."""
    asked = any(QGIS_TESTS.name in Path(arg.partition("::")[0]).parts for arg in config.invocation_params.args)
    return True if collection_path == QGIS_TESTS and not asked else None


def pytest_report_header(config):
    """Say what is left out."""
    if not any(QGIS_TESTS.name in Path(arg.partition("::")[0]).parts for arg in config.invocation_params.args):
        return "tests/qgis: left out here, they run inside QGIS: /usr/bin/python3 -m pytest tests/qgis (DEVELOPERS.md)"
    return None


@pytest.fixture(scope="session")
def sample_folder():
    """The sample valley that comes with the project."""
    return ROOT / "sample_gis"


@pytest.fixture(scope="session")
def once(tmp_path_factory):
    """What is dear is made once, for all processes that run tests."""
    return Once(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="module")
def sample_plan(once, sample_folder):
    """The sample planned; a copy of its own for each file of tests."""
    from layoutplan import load_job, plan

    folder = once.filled("sample_run")  # the command planned the same
    if folder:
        return taken(folder)
    return once.thing("sample_plan", lambda: plan(load_job(sample_folder / "job.toml")))


@pytest.fixture(scope="module")
def plan_without_ways(once, sample_folder):
    """The sample planned without ways on foot, which take half of the time; a copy for each file of tests."""
    from layoutplan import load_job, plan

    def make():
        job = load_job(sample_folder / "job.toml")
        return plan(job.model_copy(update={"access": job.access.model_copy(update={"find_ways": False})}))

    return once.thing("plan_without_ways", make)


@pytest.fixture(scope="module")
def sample_plan_with(sample_plan):
    """The sample planned, to be written with other settings of its output."""
    import dataclasses

    def changed(**output):
        job = sample_plan.job
        job = job.model_copy(update={"output": job.output.model_copy(update=output)})
        return dataclasses.replace(sample_plan, job=job)

    return changed


@pytest.fixture(scope="session")
def sample_run(once, sample_folder):
    """The sample planned by the command: its folder, to be read only, what it said, and its exit code."""
    from click.testing import CliRunner

    from layoutplan.cli.main import cli
    from layoutplan.planning import pipeline

    def make(folder):
        plan = pipeline.plan

        def planned(*given):
            made = plan(*given)
            keep(made, folder)
            return made

        arguments = ["plan", str(sample_folder / "job.toml"), "--out", str(folder / "valley"), "--timings"]
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(pipeline, "plan", planned)
            result = CliRunner().invoke(cli, arguments)
        (folder / "said.json").write_text(json.dumps([result.exit_code, result.output, result.stdout]), "utf-8")

    folder = once.folder("sample_run", make)
    code, output, stdout = json.loads((folder / "said.json").read_text("utf-8"))
    assert code == 1, output  # one tower of the valley has no layout
    return folder / "valley", stdout, code


@pytest.fixture(scope="session")
def shared_data():
    """Real open map extracts, which are no part of the repository; in CI they must be there."""
    folder = Path(os.environ.get("LAYOUTPLAN_SHARED_DATA") or ROOT.parent / "shared" / "data")
    if not folder.is_dir():
        message = f"the open map extracts are not at {folder}; set LAYOUTPLAN_SHARED_DATA"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return folder


@pytest.fixture(autouse=True)
def _no_network(monkeypatch):
    """Tests may talk to this machine only."""
    connect = socket.socket.connect

    def guarded(self, address):
        if isinstance(address, tuple) and address[0] not in ("127.0.0.1", "::1", "localhost"):
            raise OSError(f"a test tried to reach {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)
