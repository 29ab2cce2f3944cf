"""The number that tells one plan from another."""

import dataclasses
import re
from pathlib import Path

import pytest

from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.plan_number import plan_number


@pytest.fixture
def number(plan):
    return plan_number(plan)


def with_job(plan, **changes):
    return dataclasses.replace(plan, job=plan.job.model_copy(update=changes))


def test_it_is_short_and_has_no_letter_that_is_misread(number):
    assert re.fullmatch(r"[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}", number)


def test_the_same_plan_has_the_same_number(make_plan, number):
    assert plan_number(make_plan()) == number
    assert plan_number(on_the_globe(make_plan())) == number


def test_places_of_files_and_ways_of_writing_count_for_nothing(plan, number):
    files = tuple(dataclasses.replace(file, path=Path("/elsewhere") / file.path.name) for file in plan.files)
    assert plan_number(dataclasses.replace(plan, files=files, timings_s={"read": 3.0})) == number
    output = plan.job.output.model_copy(update={"formats": ("json",), "page": "Letter"})
    search = plan.job.search.model_copy(update={"workers": 7})
    assert plan_number(with_job(plan, output=output, search=search)) == number


def test_every_change_of_contents_shows(plan, number):
    stakes = plan.electrodes
    file = dataclasses.replace(plan.files[0], sha256="ef" * 32)
    changed = [
        dataclasses.replace(plan, electrodes=stakes.assign(lon=stakes["lon"] + 1e-7)),
        dataclasses.replace(plan, electrodes=stakes.assign(role=stakes["role"][::-1].tolist())),
        dataclasses.replace(plan, towers=plan.towers.assign(status="no layout")),
        dataclasses.replace(plan, files=(file, *plan.files[1:])),
        dataclasses.replace(plan, grid_crs="EPSG:25832"),
        with_job(plan, rules=plan.job.rules.model_copy(update={"reel_m": 151.0})),
    ]
    assert len({number, *map(plan_number, changed)}) == len(changed) + 1


def test_across_the_antimeridian(make_plan):
    plan = make_plan(9, lon=180.0, lat=-17.0, span_m=8.0)
    assert plan_number(on_the_globe(plan)) == plan_number(plan)


@pytest.mark.long
def test_a_plan_opened_again_has_the_number_in_its_record(sample_folder, tmp_path):
    import layoutplan
    from layoutplan.checking.reopen import reopen
    from layoutplan.inputs.model import InputFile
    from layoutplan.store.record import read_plan_record

    job = layoutplan.load_job(sample_folder / "job.toml")
    terrain = job.terrain.model_copy(update={"files": (sample_folder / "dem.tif",)})
    output = job.output.model_copy(update={"formats": ("gpkg", "json")})
    plan = layoutplan.plan(job.model_copy(update={"terrain": terrain, "output": output}))
    layoutplan.write(plan, tmp_path / "out")
    record, again = read_plan_record(tmp_path / "out"), reopen(tmp_path / "out")
    files = tuple(InputFile(Path(row["file"]), row["sha256"], row["used_for"]) for row in record["inputs"])
    read = dataclasses.replace(
        plan, job=again.job, towers=again.tables["towers"], electrodes=again.tables["electrodes"], files=files
    )
    assert plan_number(read) == record["plan_number"] == plan_number(plan)
