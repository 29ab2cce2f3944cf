from __future__ import annotations

import numpy as np

from layoutplan.layout.schema import TABLES
from layoutplan.planning.tables import rounded_columns


def test_bearings_stay_below_a_full_turn() -> None:
    turns = np.array([359.99997, 359.9999, 0.00002])
    table = rounded_columns({"bearing_true_deg": turns, "aspect_deg": turns}, TABLES["electrodes"])
    assert table["bearing_true_deg"].tolist() == table["aspect_deg"].tolist() == [0.0, 359.9999, 0.0]
    assert rounded_columns({"line_bearing_deg": [359.99999]}, TABLES["towers"])["line_bearing_deg"].tolist() == [0.0]


def test_turns_to_the_left_stay_negative() -> None:
    turn = rounded_columns({"deflection_deg": np.array([-12.34567])}, TABLES["towers"])
    assert turn["deflection_deg"].tolist() == [-12.3457]


def test_the_schema_decides_the_digits() -> None:
    given = {"lon": [1.23456789012], "distance_m": [1.23456], "score": [1.23456], "rods": [3], "margin": [1.23456]}
    table = rounded_columns(given, TABLES["electrodes"])
    assert {name: list(value) for name, value in table.items()} == {
        "lon": [1.23456789],
        "distance_m": [1.235],
        "score": [1.235],
        "rods": [3],
        "margin": [1.23456],
    }


def test_voltages_carry_no_more_digits_than_the_model() -> None:
    """Three figures, one below 1 V; what the score weighs keeps its millivolts."""
    given = {"emf_load_v": [1234.5678, 0.0471], "induced_v": [1234.5678, 0.0471]}
    table = rounded_columns(given, TABLES["leads"])
    assert table["emf_load_v"].tolist() == [1230.0, 0.05]
    assert table["induced_v"].tolist() == [1234.568, 0.047]
