"""What no job can mean: other kinds of values, numbers beyond physics, texts and nesting without end."""

import pytest

from layoutplan import load_job
from layoutplan.errors import JobError
from layoutplan.job.bounds import GREATEST, greatest

LINE = '[[lines]]\ntowers = { path = "t.csv" }\n'


def refused(folder, text):
    (folder / "job.toml").write_text(text, "utf-8")
    with pytest.raises(JobError) as caught:
        load_job(folder / "job.toml")
    message = str(caught.value)
    assert "job.toml" in message
    assert len(message) < 1000
    return message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (LINE + "half_width_m = true\n", "line 3: 'lines[0].half_width_m': a number is expected, without quotes"),
        (LINE + 'half_width_m = "8"\n', "a number is expected, without quotes (found '8')"),
        (LINE + "measured = 1\n", "true or false is expected, without quotes (found 1)"),
        (LINE + '[output]\nwaypoint_length = "10"\n', "a number is expected"),
        (LINE + "[method]\ntest_frequencies_hz = [110.0, true]\n", "a number is expected"),
        (LINE + "[work]\nfirst_day = 20260504\n", "a day is expected, without quotes: 2026-04-13"),
        (LINE + "[rules]\nreel_m = 15000\n", "a number beyond 1,500 cannot be meant here"),
        (LINE + "[rules]\nreel_m = 1e-300\n", "so near to zero"),
        (LINE + "base_width_m = 680\n", "680 m cannot be meant: at most 60 m is expected (0.68 m"),
        (LINE + "voltage_kv = 220000\n", "a number beyond 2,000 cannot be meant here"),
        (LINE + f"[rules]\nreel_m = 0x{'f' * 6000}\n", "found a number of some hundred digits or more"),
        (LINE + f"[search]\nalternatives = {'9' * 5000}\n", "line 4: a number of thousands of digits"),
        (LINE + f'id = "{"x" * 1_000_000}"\n', "a text of 1,000,000 letters; at most 200 are taken"),
        ('[[lines]]\ntowers = { path = "" }\n', "a name or path is expected, not nothing"),
        ('[[lines]]\ntowers = { path = "a\\u0000b" }\n', "a null character"),
        ("x = " + "[" * 20_000, "nested more than 30 deep"),
        ("x = " + "[" * 300 + "]" * 300 + "\n" + LINE, "nested more than 30 deep"),
        ("[" + ".".join("a" * 5_000) + "]\nx = 1\n", "nested more than 30 deep"),
        ("x = " + "{ a = " * 5_000 + "1" + " }" * 5_000, "nested more than 30 deep"),
        ('"\\u001b[31m" = 1\n' + LINE, "unknown key '[31m'"),
    ],
    ids=range(20),
)
def test_refused_in_words(tmp_path, text, words):
    assert words in refused(tmp_path, text)


def test_no_default_is_beyond_its_bound():
    """Every key has a bound, and the defaults lie within."""
    from layoutplan.job import Job

    def numbers(node, key=""):
        if isinstance(node, dict):
            for name, value in node.items():
                yield from numbers(value, name)
        elif isinstance(node, list | tuple):
            for value in node:
                yield from numbers(value, key)
        elif isinstance(node, int | float) and not isinstance(node, bool):
            yield key, node

    job = Job.model_validate({"lines": [{"towers": {"path": "t.csv"}}]})
    found = list(numbers(job.model_dump()))
    assert len(found) > 40
    assert all(abs(value) <= greatest(key) for key, value in found)


def test_the_unit_decides_unless_the_key_does():
    assert greatest("current_ka") == GREATEST["_ka"]
    assert greatest("resistance_ohm_per_km") == GREATEST["_ohm_per_km"]
    assert greatest("soil_resistivity_ohm_m") == GREATEST["_ohm_m"]
    assert greatest("reel_m") == 1500.0
    assert greatest("rods_available") == GREATEST[""]


@pytest.mark.parametrize("make", [lambda path: path.mkdir(), lambda path: path.write_bytes(b" " * 11_000_000)])
def test_what_is_no_job_file(tmp_path, make):
    make(tmp_path / "job.toml")
    with pytest.raises(JobError, match=r"a folder|a job file has some kilobytes"):
        load_job(tmp_path / "job.toml")


def test_a_pipe_in_place_of_a_job_is_not_waited_for(tmp_path):
    import os

    os.mkfifo(tmp_path / "job.toml")
    with pytest.raises(JobError, match="a named pipe, where a file was expected"):
        load_job(tmp_path / "job.toml")
