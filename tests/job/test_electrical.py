"""Currents, voltages, soil and method in the job file: what is refused, and in which words."""

import pytest

from layoutplan import load_job
from layoutplan.errors import JobError

LINE = '[[lines]]\ntowers = { path = "t.csv" }\n'
LOAD = LINE + "[lines.load]\ncurrent_a = 400\n"
FAULT = LINE + "[lines.fault]\nclearing_time_s = 0.2\n"
SECTION = "[[lines.sections]]\n"
CONDUCTOR = '[[lines.sections.conductors]]\nphase = "A"\noffset_m = 0\nattachment_height_m = 20\ndiameter_mm = 22\n'


def write(folder, text):
    path = folder / "job.toml"
    path.write_text(text, "utf-8")
    return path


def test_nothing_is_known_unless_it_is_given(tmp_path):
    job = load_job(write(tmp_path, LINE))
    (line,) = job.lines
    assert (line.load, line.fault, line.sections, line.frequency_hz) == (None, None, (), 50)
    assert (job.soil.resistivity_ohm_m, job.soil.raster) == (100, None)
    assert (job.rules.max_induced_v, job.rules.max_bias_pct, job.rules.max_coupling_pct) == (None, None, None)


def test_paths_are_relative_to_the_job_file(tmp_path):
    job = load_job(write(tmp_path, FAULT + 'table = { path = "f/faults.csv" }\n[soil]\nraster = "../soil.tif"\n'))
    assert job.lines[0].fault.table.path == tmp_path / "f/faults.csv"
    assert job.soil.raster == tmp_path / "../soil.tif"


def test_whole_section_is_taken(tmp_path):
    text = LINE + SECTION + 'phase_order = "BCA"\nto_tower = "7"\n' + CONDUCTOR + CONDUCTOR.replace('"A"', '"E"')
    (section,) = load_job(write(tmp_path, text)).lines[0].sections
    assert [item.phase for item in section.conductors] == ["A", "E"]
    assert (section.from_tower, section.to_tower, section.phase_order) == (None, "7", "BCA")
    first = section.conductors[0]
    assert (first.sag_m, first.gmr_mm, first.circuit, first.sub_conductors) == (0, None, 1, 1)


@pytest.mark.parametrize("hz", [50, 60, 16.7])
def test_supply_frequencies(tmp_path, hz):
    assert load_job(write(tmp_path, LINE + f"frequency_hz = {hz}\n")).lines[0].frequency_hz == hz


@pytest.mark.parametrize(
    "fault", ["current_ka = 5\n", "from_start_ka = 4\nfrom_end_ka = 0\n", 'table = { path = "f.csv" }\n']
)
def test_three_ways_to_give_a_fault(tmp_path, fault):
    assert load_job(write(tmp_path, FAULT + fault)).lines[0].fault.clearing_time_s == 0.2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[soil]\nresistivity_ohm_m = 0\n", ["line 4: 'soil.resistivity_ohm_m': ", "greater than 0", "found 0"]),
        ("[soil]\nresistivity_ohm_m = -5\n", ["line 4: 'soil.resistivity_ohm_m'", "greater than 0", "found -5"]),
        ("[soil]\nresistivity_ohm_m = nan\n", ["line 4: 'soil.resistivity_ohm_m'", "finite"]),
        ("[soil]\nlower_resistivity_ohm_m = 20\n", ["line 3: 'soil': ", "go together"]),
        ("[soil]\nupper_thickness_m = 2\n", ["line 3", "lower_resistivity_ohm_m and upper_thickness_m go together"]),
        ("[soil]\nraster = 3\n", ["line 4", "soil.raster"]),
        ("frequency_hz = 55\n", ["line 3: 'lines[0].frequency_hz'", "50, 60 or 16.7 Hz", "found 55"]),
        ("start_grid_ohm = 0\n", ["line 3: 'lines[0].start_grid_ohm'", "greater than 0"]),
        ("[rules]\nmax_induced_v = 0\n", ["line 4: 'rules.max_induced_v'", "greater than 0"]),
        ("[score]\ninduced_per_v = -1\n", ["line 4: 'score.induced_per_v'", "greater than or equal to 0"]),
        ("[method]\nrod_spacing_multiple = 20\n", ["line 4: 'method.rod_spacing_multiple'", "equal to 10"]),
        ("[method]\ntest_frequencies_hz = [128, -1]\n", ["'method.test_frequencies_hz[1]'", "greater than 0"]),
        ("[limits]\nbody_mass_kg = 60\n", ["line 4: 'limits.body_mass_kg'", "50 or 70", "found 60"]),
        ("[limits]\nsurface_resistivity_ohm_m = 3000\n", ["line 3", "surface_thickness_m go together"]),
    ],
)  # fmt: skip
def test_values_out_of_range(tmp_path, text, words):
    assert_refused(tmp_path, LINE + text, words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("negative_sequence_pct = 100.5\n", ["line 5: 'lines[0].load.negative_sequence_pct'", "equal to 100", "100.5"]),
        ("zero_sequence_pct = 101\n", ["line 5: 'lines[0].load.zero_sequence_pct'", "equal to 100"]),
        ("zero_sequence_pct = -1\n", ["line 5: 'lines[0].load.zero_sequence_pct'", "equal to 0"]),
        ("maximum_a = 300\n", ["line 3: 'lines[0].load': maximum_a = 300 is below current_a = 400"]),
        ("phase_currents_a = [[400, 0], [400, -120]]\n", ["line 3", "for each of the phases A, B, C"]),
        ("phase_currents_a = [[400, 0], [-1, 0], [400, 1]]\n", ["line 3", "a magnitude is below 0"]),
        (
            "zero_sequence_pct = 3\nphase_currents_a = [[400, 0], [400, -120], [400, 120]]\n",
            ["line 3", "either as phase_currents_a or as shares of the sequences, not both"],
        ),
        ("circuit_factor = { 1 = inf }\n", ["lines[0].load.circuit_factor", "finite"]),
        ("curent_max_a = 500\n", ["line 5: unknown key 'lines[0].load.curent_max_a'; did you mean 'current_a'?"]),
        ("maximun_a = 500\n", ["line 5: unknown key 'lines[0].load.maximun_a'; did you mean 'maximum_a'?"]),
    ],
)  # fmt: skip
def test_loads_that_cannot_be(tmp_path, text, words):
    assert_refused(tmp_path, LOAD + text, words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["line 3: 'lines[0].fault': give current_ka, or from_start_ka and from_end_ka, or table"]),
        ('current_ka = 5\ntable = { path = "f.csv" }\n', ["line 3: 'lines[0].fault'", "one of the three"]),
        ("current_ka = 5\nfrom_start_ka = 5\n", ["one of the three"]),
        ("from_start_ka = 5\n", ["line 3: 'lines[0].fault': from_start_ka and from_end_ka go together; 0 where"]),
        ("from_end_ka = 5\n", ["from_start_ka and from_end_ka go together"]),
        ("current_ka = 0\n", ["line 5: 'lines[0].fault.current_ka'", "greater than 0"]),
        ("current_ka = 5\nneighbours = 9\n", ["line 6: 'lines[0].fault.neighbours'", "equal to 5"]),
        ('current_ka = 5\nphase = "E"\n', ["line 6: 'lines[0].fault.phase'", "'A', 'B', 'C', 'P' or 'N'"]),
    ],
)  # fmt: skip
def test_faults_that_cannot_be(tmp_path, text, words):
    assert_refused(tmp_path, FAULT + text, words)


def test_a_fault_lasts(tmp_path):
    for value in ("0", "-0.1", "nan"):
        text = LINE + f"[lines.fault]\nclearing_time_s = {value}\ncurrent_ka = 5\n"
        assert_refused(tmp_path, text, ["line 4: 'lines[0].fault.clearing_time_s'"])
    assert_refused(tmp_path, LINE + "[lines.fault]\ncurrent_ka = 5\n", ["'lines[0].fault.clearing_time_s' is missing"])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"A"', '"X"', ["line 5: 'lines[0].sections[0].conductors[0].phase'", "'A', 'B', 'C', 'P', 'N' or 'E'", "'X'"]),
        ('"A"', '"a"', ["line 5: 'lines[0].sections[0].conductors[0].phase'", "found 'a'"]),
        ("= 20", "= -20", ["line 7: 'lines[0].sections[0].conductors[0].attachment_height_m'", "greater than 0"]),
        ("diameter_mm", "diametre_mm", ["line 8: unknown key", ".diametre_mm'; did you mean 'diameter_mm'?"]),
        ("offset_m = 0", "", ["'lines[0].sections[0].conductors[0].offset_m' is missing; it has no default"]),
    ],
)  # fmt: skip
def test_conductors_that_cannot_be(tmp_path, old, new, words):
    assert_refused(tmp_path, LINE + SECTION + CONDUCTOR.replace(old, new), words)


def test_key_in_the_wrong_place_is_said_with_the_keys_there(tmp_path):
    assert_refused(
        tmp_path, LINE + SECTION + "voltage_kv = 110\n", ["line 4: unknown key 'lines[0].sections[0].voltage_kv'"]
    )
    assert_refused(tmp_path, LINE + "[lines.faults]\ncurrent_ka = 5\n", ["'lines[0].faults'; did you mean 'fault'?"])


def assert_refused(folder, text, words):
    with pytest.raises(JobError) as caught:
        load_job(write(folder, text))
    message = str(caught.value)
    assert "job.toml" in message
    for word in words:
        assert word in message, message
