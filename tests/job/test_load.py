"""The job file: what is refused, and in which words."""

import pytest

from layoutplan import load_job
from layoutplan.errors import JobError
from layoutplan.job import Job, Line
from layoutplan.job.given import given_keys
from layoutplan.job.template import job_sections, job_template, meaning

GOOD = '[[lines]]\ntowers = { path = "t.csv" }\n'


def write(folder, text, encoding="utf-8"):
    path = folder / "job.toml"
    path.write_bytes(text.encode(encoding))
    return path


def test_least_job_takes_every_default(tmp_path):
    job = load_job(write(tmp_path, GOOD))
    assert job.rules.line_clearance_m == 50
    assert job.rules.min_angle_deg == 30
    assert job.lines[0].towers.path == tmp_path / "t.csv"


def test_paths_are_relative_to_the_job_file(tmp_path):
    text = GOOD + '[[layers]]\npath = "../map/roads.gpkg"\nobstacle_class = "main_road"\n'
    assert load_job(write(tmp_path, text)).layers[0].path == tmp_path / "../map/roads.gpkg"
    assert (
        load_job(write(tmp_path, GOOD + '[output]\nfont = "f/letters.ttf"\n')).output.font == tmp_path / "f/letters.ttf"
    )


def test_keys_of_before_are_taken_by_the_names_of_today(tmp_path):
    job = load_job(write(tmp_path, GOOD + "[rules]\nsquare_within_deg = 9\n[score]\noff_square_per_deg = 3\n"))
    assert (job.rules.perpendicular_within_deg, job.score.off_perpendicular_per_deg) == (9, 3)
    assert {"rules.perpendicular_within_deg", "score.off_perpendicular_per_deg"} <= {*given_keys(job)}


def test_job_cannot_be_changed_afterwards(tmp_path):
    job = load_job(write(tmp_path, GOOD))
    with pytest.raises(ValueError, match="frozen"):
        job.rules.reel_m = 10


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[lines]\n", ["not valid TOML", "line 1"]),
        (GOOD + "[rules]\nreel_lenght_m = 3\n", ["line 4", "unknown key 'rules.reel_lenght_m'", "reel_m"]),
        (
            GOOD + "[rules]\nsquare_within_deg = 9\nperpendicular_within_deg = 8\n",
            ["'square_within_deg' is called 'perpendicular_within_deg' now", "both are given"],
        ),
        (GOOD + "titel = 1\n", ["unknown key", "titel"]),
        (GOOD + "[rules]\nline_clearance_m = -1\n", ["rules.line_clearance_m", "greater than or equal to 0", "-1"]),
        (GOOD + "[rules]\nreel_m = nan\n", ["rules.reel_m", "finite"]),
        (GOOD + "[rules]\nreel_m = inf\n", ["rules.reel_m", "finite"]),
        (
            GOOD + "[rules]\nreel_m = 50\nline_clearance_m = 10\nmin_distance_m = 60\n",
            ["beyond the reel", "min_distance_m = 60", "shorten"],
        ),
        (GOOD + "[rules]\nreel_m = 55\n", ["beyond the reel", "line_clearance_m"]),
        (GOOD + "base_width_m = 6800\n", ["base_width_m", "6800 m cannot be meant", "6.8 m if it is in millimetres"]),
        (GOOD + "half_width_m = 8000\n", ["half_width_m", "8000 m cannot be meant"]),
        (GOOD + "[classes.rivers]\nkeep_out_m = 3\n", ["no obstacle class 'rivers'", "river_canal"]),
        (GOOD + '[[layers]]\npath = "a.gpkg"\n', ["obstacle_class", "class_column"]),
        (GOOD + '[[layers]]\npath = "a.gpkg"\nobstacle_class = "roads"\n', ["no obstacle class 'roads'"]),
        (GOOD + '[[layers]]\npath = "a.osm.pbf"\nobstacle_class = "main_road"\n', ["classes from its tags"]),
        ("[[lines]]\nvoltage_kv = 110\n", ["towers", "osm"]),
        ('[[lines]]\nosm = { path = "a.osm.pbf" }\n', ["way_ids", "name", "ref", "voltage_kv"]),
        (GOOD + GOOD, ["same id"]),
        (GOOD + "[classes.power_line]\nkeep_out_m = 20\n", ["classes.power_line.keep_out_m", "rules.line_clearance_m"]),
        ("title = 3\n" + GOOD, ["title", "text in quotes"]),
        ("", ["'lines' is missing"]),
        (GOOD + "[rules]\nreel_m = 150,5\n", ["not valid TOML", "line 4", "decimal point"]),
        (
            GOOD + '[[layers]]\npath = "C:\\Users\\map.gpkg"\n',
            ["not valid TOML", "line 4", "paths with / or in single"],
        ),
        (GOOD + '[terrain]\nfiles = "dem.tif"\n', ["line 4", "terrain.files", "a list is expected", "'dem.tif'"]),
        (GOOD + '[fixed]\ntower = "1"\n', ["line 3", "'fixed'", "under its own [[ ]]", "found a table"]),
        (GOOD + '[work]\nfirst_day = "13.4.2026"\n', ["line 4", "a day is expected, without quotes: 2026-04-13"]),
        (GOOD + "[[fixed]]\ntower = 3\n", ["line 4", "fixed[0].tower", "text in quotes is expected (found 3)"]),
    ],
)
def test_refused_with_the_mend(tmp_path, text, words):
    with pytest.raises(JobError) as caught:
        load_job(write(tmp_path, text))
    message = str(caught.value)
    assert "job.toml" in message
    for word in words:
        assert word in message


def test_missing_file_names_the_way_out(tmp_path):
    with pytest.raises(JobError, match=r"no such job file.*layoutplan start"):
        load_job(tmp_path / "none.toml")


def test_folder_in_place_of_a_file(tmp_path):
    with pytest.raises(JobError, match=r"a folder\. Name the job file in it"):
        load_job(tmp_path)


def test_not_utf8(tmp_path):
    with pytest.raises(JobError, match=r"not UTF-8.*Save the job file as UTF-8"):
        load_job(write(tmp_path, 'title = "Tür"\n' + GOOD, "latin-1"))


def test_class_override_says_so_in_its_basis(tmp_path):
    job = load_job(write(tmp_path, GOOD + "[classes.river_canal]\nkeep_out_m = 4\n"))
    river = job.obstacle_classes["river_canal"]
    assert river.keep_out_m == 4
    assert river.basis.startswith("project setting")
    assert job.obstacle_classes["building"].basis == "engineering judgement"


def test_one_number_rules_planned_and_mapped_lines(tmp_path):
    job = load_job(write(tmp_path, GOOD + "[rules]\nline_clearance_m = 40\n"))
    assert job.obstacle_classes["power_line"].keep_out_m == 40


def test_the_template_loads_as_it_is_and_with_everything_uncommented(tmp_path):
    text = job_template()
    load_job(write(tmp_path, text))
    body = text[text.index("# --- rules") :]
    bare = [
        line.removeprefix("# ") for line in body.splitlines() if not line.startswith("# ---") and "= ..." not in line
    ]
    load_job(write(tmp_path, text[: text.index("# --- rules")] + "\n".join(bare)))


def test_the_template_names_the_supply_frequency_that_is_taken_and_how_to_change_it(tmp_path):
    """Who works on a 60 Hz grid must see it; as a remark, so that a plan goes on saying that nobody gave it."""
    (said,) = [line for line in job_template().splitlines() if "frequency_hz" in line and "test_" not in line]
    default = Line.model_fields["frequency_hz"].default
    assert said.startswith(f"# frequency_hz = {default} ")
    assert "write 60" in said
    assert "frequency_hz" not in load_job(write(tmp_path, job_template())).lines[0].model_fields_set
    changed = job_template().replace(said, said.removeprefix("# ").replace(str(default), "60"))
    assert load_job(write(tmp_path, changed)).lines[0].frequency_hz == 60


def test_the_template_shows_how_the_owners_kinds_of_towers_are_named(tmp_path):
    (said,) = [line for line in job_template().splitlines() if line.startswith("# towers =")]
    plain = next(line for line in job_template().splitlines() if line.startswith("towers ="))
    job = load_job(write(tmp_path, job_template().replace(plain, "").replace(said, said.removeprefix("# "))))
    assert job.lines[0].towers.structure_map == {"AP": "lattice_4", "M": "pole"}


def test_the_reference_has_every_section_of_the_job():
    headers = {header.strip("[]").split(".")[0] for header, _, _ in job_sections()}
    assert headers - {"(top of the file)"} == set(Job.model_fields) - {"title"}


def test_the_reference_names_the_words_that_a_key_takes():
    words = {(header, name): meaning(field) for header, _, fields in job_sections() for name, field in fields.items()}
    assert words["[[fixed]]", "role"].endswith('One of "H", "S".')
    assert words["[limits]", "touch_standard"].endswith('One of "EN 50522", "IEEE Std 80".')
    assert '"granted", "asked", "refused", "unknown"' in words["[[land]]", "permission"]
    assert "One of" not in words["[terrain]", "vertical_unit"]  # its description has them


@pytest.mark.parametrize("header", ["[[fixed]]", "[[land]]", "[work]", "[access]", "[coverage]", "[output]"])
def test_the_template_shows_how_to_begin_a_section(header):
    assert f"\n# {header}\n" in job_template()


LINE = '[[lines]]\nid = "1"\ntowers = { path = "t.csv" }\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[rules]\nreel_m = 1501\n", r"'rules\.reel_m': .*beyond 1,500 cannot be meant"),
        ("[soil]\nresistivity_ohm_m = 1e7\n", r"'soil\.resistivity_ohm_m': .*beyond 1e\+06 cannot be meant"),
        ("[soil]\nlower_resistivity_ohm_m = 1e9\nupper_thickness_m = 2\n", "lower_resistivity_ohm_m"),
        ("[method]\nfooting_resistance_ohm = 1e6\n", r"'method\.footing_resistance_ohm'"),
        (f'title = "{"x" * 501}"\n', "'title': .*at most 500 are taken"),
        (
            "[search]\nbearing_step_deg = 0.1\ndistance_step_m = 0.1\n[rules]\nreel_m = 1500\n",
            r"positions would be looked at for each tower, 600,000 at most are: make search\.bearing_step_deg",
        ),
    ],
)
def test_numbers_and_texts_without_measure(tmp_path, text, message):
    (tmp_path / "job.toml").write_text(text + LINE)
    with pytest.raises(JobError, match=message):
        load_job(tmp_path / "job.toml")


@pytest.mark.parametrize("key", ["base_width_m = 101", "earth_electrode_size_m = 2001", f'id = "{"x" * 201}"'])
def test_lines_without_measure(tmp_path, key):
    (tmp_path / "job.toml").write_text(LINE.replace('id = "1"', key))
    with pytest.raises(JobError, match=f"{key.split(' ')[0]}'"):
        load_job(tmp_path / "job.toml")


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a." * 100_000 + "a = 1",
        "a = " + "{a=" * 100_000,
        '"a".' * 99 + "a = 1",
        "[a" + ".a" * 99,
    ],
)
def test_nesting_without_end(tmp_path, text):
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(JobError, match="nested more than 30 deep"):
        load_job(tmp_path / "job.toml")


def test_what_looks_deep_and_is_not(tmp_path):
    (tmp_path / "job.toml").write_text(f'# {"[" * 99}\ntitle = "{"{" * 99} {"a." * 99}"\n{LINE}' + "# x.\n" * 99)
    assert load_job(tmp_path / "job.toml").title.startswith("{{{")


def test_a_job_file_of_many_megabytes(tmp_path):
    (tmp_path / "job.toml").write_bytes(b"#" * 6_000_000)
    with pytest.raises(JobError, match="6 MB, and a job file has some kilobytes"):
        load_job(tmp_path / "job.toml")
