"""Names of layers and columns in plain words."""

from collections import Counter

import pytest

from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.titles import LAYER_TITLES, column_title


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("field_kv_m", "electric field, kV/m"),
        ("standing_current_a_low", "standing current at least, A"),
        ("expected_reading_v_high", "expected reading at most, V"),
        ("soil_resistivity_ohm_m", "soil resistivity, ohm m"),
        ("status", "status"),
        ("walk_min", "walk, minutes"),
        ("distance_m", "distance from the tower, m"),
        ("tower_id", "tower"),
        ("m", "m"),
    ],
)
def test_units_are_written_out(column: str, words: str) -> None:
    assert column_title(column) == words


@pytest.mark.parametrize("name", TABLES)
def test_no_two_columns_of_a_table_bear_one_title(name: str) -> None:
    """GeoPackage demands it, and so does anyone who reads them."""
    titles = Counter(column_title(column) for column in TABLES[name].columns)
    assert max(titles.values()) == 1
    assert all("_" not in title for title in titles)


def test_every_table_has_a_title() -> None:
    assert set(TABLES) <= set(LAYER_TITLES)
    assert len(set(LAYER_TITLES.values())) == len(LAYER_TITLES)
