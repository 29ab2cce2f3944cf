"""One run at a time in a folder; what a cut one left is put in order; a journal of somebody else does no harm."""

import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path

import pytest

from layoutplan.errors import OutputError
from layoutplan.store import LOCK_NAME, alone_in, replace_all, settle, staging_in
from layoutplan.store.replace import JOURNAL
from layoutplan.store.signals import held_back

ROOT = Path(__file__).parents[2]
HOLD = (
    "import sys, time\n"
    "from pathlib import Path\n"
    "from layoutplan.store import alone_in\n"
    "with alone_in(Path(sys.argv[1])):\n"
    "    print('held', flush=True)\n"
    "    sys.stdin.readline()\n"
)


@pytest.fixture
def holder(tmp_path):
    """Another process that holds the folder."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def enter(folder: Path) -> None:
    with alone_in(folder):
        pass


def test_a_second_run_is_told_who_works_there(tmp_path, holder) -> None:
    with pytest.raises(OutputError, match=rf"another run works in this folder \(process {holder.pid} on "):
        enter(tmp_path)
    holder.communicate("\n")
    enter(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_killed_run_holds_nothing(tmp_path, holder) -> None:
    holder.kill()
    holder.communicate()
    assert (tmp_path / LOCK_NAME).exists()
    enter(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_reading_goes_on_while_another_run_makes_its_files(tmp_path, holder) -> None:
    assert settle(tmp_path) == ""
    (tmp_path / JOURNAL).write_text("{}")
    with pytest.raises(OutputError, match=f"process {holder.pid}"):
        settle(tmp_path)


def test_a_lock_of_another_machine_is_left_alone(tmp_path) -> None:
    (tmp_path / LOCK_NAME).write_text(json.dumps({"pid": 1, "host": "elsewhere\x1b[31m"}))
    with pytest.raises(OutputError, match=r"process 1 on elsewhere \[31m\).*delete \.layoutplan\.lock") as caught:
        enter(tmp_path)
    assert "\x1b" not in str(caught.value)


def test_another_thread_is_another_run(tmp_path) -> None:
    said = []

    def other() -> None:
        try:
            enter(tmp_path)
        except OutputError as err:
            said.append(str(err))

    with alone_in(tmp_path), alone_in(tmp_path):  # the same one may enter again
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
        assert (tmp_path / LOCK_NAME).exists()
    assert len(said) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_stays_empty_is_not_left(tmp_path) -> None:
    with alone_in(tmp_path / "a" / "b"):
        assert (tmp_path / "a" / "b" / LOCK_NAME).is_file()
    assert list(tmp_path.iterdir()) == []


def test_a_link_in_place_of_the_lock_is_not_followed(tmp_path) -> None:
    (tmp_path / "mine.txt").write_text("the user's own")
    (tmp_path / LOCK_NAME).symlink_to(tmp_path / "mine.txt")
    with pytest.raises(OSError, match="symbolic link"):
        enter(tmp_path)
    assert (tmp_path / "mine.txt").read_text() == "the user's own"


def test_what_somebody_wrote_between_is_kept(tmp_path, monkeypatch) -> None:
    """The run is cut after its journal; then the user saves a file of that name; then the run is finished."""
    (tmp_path / "stakes.csv").write_text("old")

    def cut(*_: object) -> None:
        raise KeyboardInterrupt

    with alone_in(tmp_path), monkeypatch.context() as patched:
        patched.setattr("layoutplan.store.replace.forward", cut)
        patched.setattr("layoutplan.store.replace._give_up", lambda *_: None)
        with suppress(KeyboardInterrupt), staging_in(tmp_path) as staging:
            (staging / "stakes.csv").write_text("new")
            replace_all(tmp_path, [staging / "stakes.csv"], {})
    assert (tmp_path / JOURNAL).exists()
    (tmp_path / "stakes.csv").write_text("the user's own")
    assert "was finished" in settle(tmp_path)
    texts = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert texts == {"stakes.csv": "new", "stakes_earlier.csv": "the user's own"}


@pytest.mark.parametrize(
    "journal",
    [
        "",
        "[]",
        "[" * 100_000,
        '{"staging": "../x", "steps": []}',
        '{"staging": "S", "steps": []}',
        '{"staging": ".layoutplan-S", "steps": [{"name": "../mine.txt", "new": null, "earlier": [1, 2], "kept": ""}]}',
        '{"staging": ".layoutplan-S", "steps": [{"name": "a", "new": null, "earlier": null, "kept": "/tmp/x"}]}',
        '{"staging": ".layoutplan-S", "steps": [{"name": "a", "new": 3, "earlier": null, "kept": ""}]}',
    ],
    ids=range(8),
)
def test_a_journal_of_somebody_else_reaches_nothing_outside(tmp_path, journal) -> None:
    folder = tmp_path / "plan"
    (folder / ".layoutplan-S" / "new").mkdir(parents=True)
    (folder / ".layoutplan-S" / "earlier").mkdir()
    (tmp_path / "mine.txt").write_text("the user's own")
    (folder / JOURNAL).write_text(journal)
    with pytest.raises(OutputError, match=r"Delete \.layoutplan\.journal and plan again"):
        settle(folder)
    assert (tmp_path / "mine.txt").read_text() == "the user's own"


def test_leftovers_of_a_cut_run_go_and_links_are_not_followed(tmp_path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "mine.txt").write_text("the user's own")
    folder = tmp_path / "plan"
    (folder / ".layoutplan-abc").mkdir(parents=True)
    (folder / ".layoutplan-link").symlink_to(elsewhere)
    assert "unfinished files" in settle(folder)
    assert list(folder.iterdir()) == []
    assert (elsewhere / "mine.txt").exists()


def test_signals_wait_until_the_folder_is_whole() -> None:
    done = []

    def work() -> None:
        with held_back() as asked:
            assert not asked()
            signal.raise_signal(signal.SIGINT)
            signal.raise_signal(signal.SIGINT)
            assert asked()
            done.append("in the block")
        done.append("after it")

    with pytest.raises(KeyboardInterrupt):
        work()
    assert done == ["in the block"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
