"""Which keys a job was given, written down and laid over its settings again."""

from __future__ import annotations

from pathlib import Path

import pytest

from layoutplan import load_job
from layoutplan.job import Job
from layoutplan.job.given import given_keys, with_given


@pytest.mark.parametrize("name", ["job.toml", "job_osm.toml", "job_land.toml"])
def test_given_keys_survive_settings_that_name_everything(sample_folder: Path, name: str) -> None:
    job = load_job(sample_folder / name)
    everything = Job.model_validate(job.model_dump(mode="json"))
    assert "half_width_m" in everything.lines[0].model_fields_set
    again = with_given(everything, given_keys(job))
    assert given_keys(again) == given_keys(job)
    assert again.model_dump() == job.model_dump()
    assert given_keys(everything) != given_keys(job)


def test_only_what_was_given_counts(sample_folder: Path) -> None:
    keys = given_keys(load_job(sample_folder / "job.toml"))
    assert "lines.0.load.zero_sequence_pct" in keys
    assert "lines.1.load.current_a" in keys
    assert "lines.1.load.zero_sequence_pct" not in keys
    assert not any(key.startswith("soil") for key in keys)
