"""Stations in the job file: what is refused, and in which words."""

import pytest

from layoutplan import load_job
from layoutplan.errors import JobError

LINES = (
    '[[lines]]\nid = "one"\nend_station = "North"\ntowers = { path = "t.csv" }\n'
    '[[lines]]\nid = "two"\nstart_station = "North"\ntowers = { path = "t.csv" }\n'
)
STATION = '[[stations]]\nid = "North"\ngrid_ohm = 0.2\n'
FAULT = STATION + "[stations.fault]\nclearing_time_s = 0.3\n"


def write(folder, text):
    path = folder / "job.toml"
    path.write_text(text, "utf-8")
    return path


def refused(folder, text):
    with pytest.raises(JobError) as caught:
        load_job(write(folder, text))
    message = str(caught.value)
    assert "job.toml" in message
    return message


def test_lines_that_meet_in_a_station(tmp_path):
    job = load_job(write(tmp_path, LINES + STATION))
    assert [station.id for station in job.stations] == ["North"]
    assert job.stations[0].fault is None
    assert [(line.start_station, line.end_station) for line in job.lines] == [(None, "North"), ("North", None)]


def test_a_job_needs_no_stations(tmp_path):
    assert load_job(write(tmp_path, '[[lines]]\ntowers = { path = "t.csv" }\n')).stations == ()


@pytest.mark.parametrize(
    "text", ["current_ka = 20\n", "current_ka = 20\nearth_wire_share_pct = 40\n", "grid_current_ka = 12\n",
             "grid_current_ka = 12\nx_over_r = 15\n"]
)  # fmt: skip
def test_ways_to_give_a_fault_in_a_station(tmp_path, text):
    fault = load_job(write(tmp_path, LINES + FAULT + text)).stations[0].fault
    assert fault.clearing_time_s == 0.3
    assert (fault.current_ka, fault.grid_current_ka) in {(20, None), (None, 12)}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["'stations[0].fault'", "give current_ka or grid_current_ka, one of the two"]),
        ("current_ka = 5\ngrid_current_ka = 5\n", ["give current_ka or grid_current_ka, one of the two"]),
        (
            "grid_current_ka = 5\nearth_wire_share_pct = 40\n",
            ["earth_wire_share_pct is a part of current_ka; with grid_current_ka leave it out"],
        ),
        ("current_ka = 5\nearth_wire_share_pct = 100\n", ["'stations[0].fault.earth_wire_share_pct'", "less than 100"]),
        ("current_ka = 5\nearth_wire_share_pct = -1\n", ["earth_wire_share_pct'", "greater than or equal to 0"]),
        ("current_ka = 0\n", ["'stations[0].fault.current_ka'", "greater than 0"]),
        ("grid_current_ka = -3\n", ["'stations[0].fault.grid_current_ka'", "greater than 0"]),
        ("current_ka = 5\nx_over_r = 0\n", ["'stations[0].fault.x_over_r'", "greater than 0"]),
        ("curent_ka = 5\n", ["unknown key 'stations[0].fault.curent_ka'; did you mean 'current_ka'?"]),
    ],
)
def test_faults_in_stations_that_cannot_be(tmp_path, text, words):
    message = refused(tmp_path, LINES + FAULT + text)
    for word in words:
        assert word in message, message


def test_a_fault_in_a_station_lasts(tmp_path):
    text = LINES + STATION + "[stations.fault]\ncurrent_ka = 5\n"
    assert "'stations[0].fault.clearing_time_s' is missing" in refused(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (LINES, ["line 'one': end_station = 'North' is no station of the job", "[[stations]]: none"]),
        (
            LINES + STATION.replace("North", "Nord"),
            ["line 'one': end_station = 'North' is no station of the job; [[stations]]: Nord"],
        ),
        (LINES + STATION + STATION, ["two stations have the same id; give each [[stations]] its own"]),
        (
            LINES + STATION + STATION.replace("North", "South"),
            ["station 'South': no line has it as its start_station or end_station"],
        ),
        (LINES + STATION.replace("0.2", "0"), ["'stations[0].grid_ohm'", "greater than 0"]),
        (LINES + STATION.replace("grid_ohm = 0.2\n", ""), ["'stations[0].grid_ohm' is missing"]),
        (LINES + STATION.replace('"North"', '""'), ["'stations[0].id'"]),
        (
            LINES.replace('end_station = "North"\n', 'end_station = "North"\nend_grid_ohm = 0.3\n') + STATION,
            ["'lines[0]'", "give end_station or end_grid_ohm, one of the two: the station has its own grid_ohm"],
        ),
        (
            LINES.replace('start_station = "North"\n', 'start_station = "North"\nstart_grid_ohm = 0.3\n') + STATION,
            ["'lines[1]'", "give start_station or start_grid_ohm, one of the two"],
        ),
    ],
)
def test_stations_that_cannot_be(tmp_path, text, words):
    message = refused(tmp_path, text)
    for word in words:
        assert word in message, message


def test_both_ends_of_a_line_may_be_in_one_station(tmp_path):
    text = '[[lines]]\nstart_station = "North"\nend_station = "North"\ntowers = { path = "t.csv" }\n' + STATION
    assert len(load_job(write(tmp_path, text)).stations) == 1


@pytest.mark.parametrize("word", ["x_over_r = 0\n", "x_over_r = -2\n", "x_over_r = nan\n"])
def test_ratio_of_a_line_fault(tmp_path, word):
    text = '[[lines]]\ntowers = { path = "t.csv" }\n[lines.fault]\nclearing_time_s = 0.2\ncurrent_ka = 5\n' + word
    assert "'lines[0].fault.x_over_r'" in refused(tmp_path, text)


def test_the_faulted_phase_may_be_left_out(tmp_path):
    text = '[[lines]]\ntowers = { path = "t.csv" }\n[lines.fault]\nclearing_time_s = 7200\ncurrent_ka = 0.06\n'
    fault = load_job(write(tmp_path, text)).lines[0].fault
    assert (fault.phase, fault.x_over_r, fault.clearing_time_s) == (None, None, 7200)
