from __future__ import annotations

import numpy as np

from layoutplan.planning.tables import rounded


def test_bearings_stay_below_a_full_turn() -> None:
    table = rounded({"bearing_true_deg": np.array([359.99997, 359.9999, 0.00002]), "line_bearing_deg": [359.99999]})
    assert table["bearing_true_deg"].tolist() == [0.0, 359.9999, 0.0]
    assert table["line_bearing_deg"].tolist() == [0.0]


def test_turns_to_the_left_stay_negative() -> None:
    assert rounded({"deflection_deg": np.array([-12.34567])})["deflection_deg"].tolist() == [-12.3457]


def test_units_decide_the_digits() -> None:
    table = rounded(
        {"lon": [1.23456789012], "chainage_m": [1.23456], "score": [1.23456], "order": [3], "margin": [1.23456]}
    )
    assert {name: list(value) for name, value in table.items()} == {
        "lon": [1.23456789],
        "chainage_m": [1.235],
        "score": [1.235],
        "order": [3],
        "margin": [1.23456],
    }
