"""Running a command that works, fails, talks nonsense, hangs, or will not stop; without QGIS."""

import os
import sys
import time
from textwrap import dedent

import pytest

from layoutplan.qgis_plugin.layoutplan_gis.command import CommandError
from layoutplan.qgis_plugin.layoutplan_gis.runner import Cancelled, Listener, failure, run


def ran(body, listener=None):
    return run([sys.executable, "-c", dedent(body)], listener or Listener(), os.environ)


def test_progress_result_text_and_messages_are_told_apart():
    steps, said = [], []
    outcome = ran(
        """
        import sys
        print('{"event": "progress", "percent": 250, "message": "far"}')
        print('plain text ü')
        print('{"event": "progress", "percent": "x"}')
        print('[1]'); print('{'); print('[' * 100000)
        print('{"event": "result", "output": "a"}')
        print('note', file=sys.stderr)
        sys.exit(1)
        """,
        Listener(lambda percent, text: steps.append((percent, text)), said.append),
    )
    assert steps == [(100.0, "far")]
    assert outcome.result["output"] == "a"
    assert outcome.lines[:3] == ["plain text ü", "[1]", "{"]
    assert (outcome.code, said) == (1, ["note"])


def test_bytes_that_are_no_text_and_endless_lines_do_no_harm():
    outcome = ran("import os\nos.write(1, bytes(range(128, 256)) + b'\\n')\nos.write(2, b'x' * 9_000_000)")
    assert outcome.code == 0
    assert failure(outcome, "Planning failed")


def test_many_lines_on_both_streams_do_not_block():
    outcome = ran("import sys\nfor n in range(30000):\n    print('o' * 50)\n    print('e' * 50, file=sys.stderr)")
    assert len(outcome.lines) == len(outcome.errors) == 20_000


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            "import sys\nprint('10 %', file=sys.stderr)\nsys.exit('error: job.toml: no such file\\nhint')",
            "no such file",
        ),
        ("raise MemoryError('much')", "MemoryError: much"),
        ("import os\nos._exit(7)", "code 7"),
        ("print('hello')", "Is it really layoutplan"),
        ("import os, signal\nos.kill(os.getpid(), getattr(signal, 'SIGKILL', signal.SIGTERM))", "without a message"),
    ],
)
def test_what_went_wrong_is_said_in_the_commands_words(body, words):
    assert words in failure(ran(body), "Planning failed")


def test_cancelling_ends_the_command_after_it_has_cleaned_up(tmp_path):
    body = f"""
        import signal, sys, time
        def end(*_):
            open({str(tmp_path / "clean")!r}, 'w').close(); sys.exit(143)
        signal.signal(signal.SIGTERM, end)
        print('{{"event": "progress", "percent": 1, "message": "on"}}', flush=True)
        time.sleep(600)
    """
    steps = []
    listener = Listener(lambda percent, _text: steps.append(percent), cancelled=lambda: bool(steps))
    began = time.monotonic()
    with pytest.raises(Cancelled):
        ran(body, listener)
    assert time.monotonic() - began < 5
    assert os.name == "nt" or (tmp_path / "clean").exists()


@pytest.mark.parametrize("result", ["", '{"event": "result"}'])
def test_cancelling_a_command_that_has_done_its_work_is_told_apart(result):
    body = f"""
        import os, time
        os.write(1, b'{{"event": "progress", "percent": 1}}\\n{result}\\n')
        time.sleep(600)
    """
    steps = []
    with pytest.raises(Cancelled) as err:
        ran(body, Listener(lambda percent, _text: steps.append(percent), cancelled=lambda: bool(steps)))
    assert err.value.finished == bool(result)


def test_last_words_are_told_once():
    said = []
    outcome = ran(
        "import sys; sys.stderr.write('note\\nerror: no\\nmore of it\\n'); sys.exit(2)", Listener(message=said.append)
    )
    assert said == ["note"]
    assert failure(outcome, "Planning failed").splitlines() == ["Planning failed: error: no", "more of it"]


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="there a program cannot refuse")
def test_a_command_that_will_not_end_is_killed(tmp_path):
    body = f"""
        import os, signal, time
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        open({str(tmp_path / "pid")!r}, 'w').write(str(os.getpid()))
        print('{{"event": "progress", "percent": 1}}', flush=True)
        time.sleep(600)
    """
    steps = []
    with pytest.raises(Cancelled):
        ran(body, Listener(lambda percent, _text: steps.append(percent), cancelled=lambda: bool(steps)))
    with pytest.raises(ProcessLookupError):
        os.kill(int((tmp_path / "pid").read_text("utf-8")), 0)


def test_a_command_that_hangs_is_stopped():
    with pytest.raises(CommandError, match=r"gave no output for 0\.5 s"):
        ran("import time\ntime.sleep(600)", Listener(longest_silence_s=0.5))


def test_a_program_that_is_not_there_is_said(tmp_path):
    with pytest.raises(CommandError, match="cannot be started"):
        run([str(tmp_path / "gone")], Listener(), os.environ)
