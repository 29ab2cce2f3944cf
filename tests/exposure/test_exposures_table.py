"""The table of exposures, and the columns of leads and towers.

Sources: the limits are those of tests/electrical/test_limits.py; rows and columns are this package's own, no source.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from layoutplan.exposure import Network
from layoutplan.inputs.model import FaultTable
from layoutplan.planning.electrics import exposures_table, with_lead_figures, with_tower_figures

from .worlds import UNBALANCED, Course, assessed, flat_line, straight, world

FAULT = {"current_ka": 8.0, "clearing_time_s": 0.5}
SMALL = {"current_ka": 0.01, "clearing_time_s": 0.5}  # below its limits: beyond them an unknown one hides nothing
ROWS = np.array([1, 3])


def keys() -> gpd.GeoDataFrame:
    table = {
        "line_id": ["line 0"] * 4,
        "tower_id": ["2", "2", "4", "4"],
        "role": ["H", "S"] * 2,
        "waypoint": ["2H", "2S", "4H", "4S"],
    }
    return gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(range(4), range(4)), crs="EPSG:4326")


def table_of(network: Network) -> tuple[pd.DataFrame, Any]:
    found = assessed(network, ROWS, 60.0, 250.0)
    return exposures_table(found, network, keys()), found


@pytest.fixture(scope="module")
def full() -> tuple[pd.DataFrame, Any]:
    return table_of(world(flat_line(straight(5), load=UNBALANCED, fault=FAULT)).network())


def test_twelve_rows_for_each_lead_in_order(full):
    table, _ = full
    assert len(table) == 4 * 12
    assert table["waypoint"].tolist() == [name for name in ("2H", "2S", "4H", "4S") for _ in range(12)]
    names = table["exposure"].to_numpy().reshape(4, 12)
    assert (names == names[0]).all()
    assert len(set(names[0])) == 12
    assert names[0][-2:].tolist() == ["from the stake to the ground 1 m away", "step of 1 m beside the stake"]


DIGITS = 5.1e-3  # voltages are written with three digits, below 1 V with one


def test_values_and_units(full):
    """Volts, milliamperes, kilovolts per metre."""
    table, found = full
    one = table[table["waypoint"] == "4S"].set_index("exposure")
    leads = found.leads
    expected = leads.emf_load_v[1, 1]
    assert one.at["induced by the load, balanced", "value"] == pytest.approx(expected, rel=DIGITS, abs=0.051)
    assert one.at["induced by a fault", "value"] == pytest.approx(leads.emf_fault_v[1, 1], rel=DIGITS)
    for name, value in (
        ("from the stake to the ground 1 m away", leads.stake_touch_v),
        ("step of 1 m beside the stake", leads.stake_step_v),
    ):
        assert one.at[name, "value"] == pytest.approx(value[1, 1], rel=DIGITS)
    assert one.at["capacitive current, lead carried", "value"] == pytest.approx(
        leads.capacitive.carried_a[1, 1] * 1000, abs=1e-4
    )
    assert one.at["electric field along the lead", "value"] == pytest.approx(
        leads.capacitive.field_v_per_m[1, 1] / 1000, abs=1e-4
    )
    assert one["unit"].value_counts().to_dict() == {"V": 9, "mA": 2, "kV/m": 1}
    assert one.at["capacitive current, lead carried", "limit"] == 1.0
    assert one.at["electric field along the lead", "limit"] == 10.0


def test_ratio_is_value_over_limit_and_sums_are_sums(full):
    """Ratios are made of the full figures. Under a fault both parts of the sum are those of one fault."""
    table, found = full
    volts = table["unit"] == "V"
    ratio = (table["value"] / table["limit"]).to_numpy()
    assert table["ratio"].to_numpy()[~volts] == pytest.approx(ratio[~volts], abs=2e-4)
    assert table["ratio"].to_numpy()[volts] == pytest.approx(ratio[volts], rel=DIGITS, abs=1.1e-3)
    value = {item.name: item.value for item in found.leads.exposures}
    parts = ("induced by the load, balanced", "induced by the load, unbalance", "standing voltage of the tower")
    assert value["arithmetic sum in service"] == pytest.approx(sum(value[name] for name in parts), rel=1e-12)
    total, parts = (
        value["arithmetic sum under a fault"],
        ("induced by a fault", "transferred from the tower by a fault"),
    )
    assert (total <= sum(value[name] for name in parts) * (1 + 1e-12)).all()
    assert (total >= np.maximum(*(value[name] for name in parts))).all()


def test_row_names_the_fault_that_governs(full):
    table, found = full
    fault = table["state"] == "under a fault"
    assert table.loc[fault, "fault_location"].str.fullmatch(r"line 'line 0', tower [1-5]").all()
    assert (table.loc[~fault, "fault_location"] == "").all()
    rows = table[table["exposure"] == "arithmetic sum under a fault"]["fault_location"]
    assert rows.tolist() == found.leads.fault_location.ravel().tolist()


def test_duration_stands_at_faults_only(full):
    table, _ = full
    fault = table["state"] == "under a fault"
    assert (table.loc[fault, "duration_s"] == 0.5).all()
    assert table.loc[~fault, "duration_s"].isna().all()
    assert (table[["basis", "edition"]] != "").all().all()


def unknown(table: pd.DataFrame) -> pd.DataFrame:
    rows = table[table["ratio"].isna()]
    assert rows["value"].isna().all()
    assert rows["assumptions"].str.startswith("unknown: ").all()
    assert not table[table["ratio"].notna()]["assumptions"].str.contains("unknown").any()
    return rows


def test_nothing_is_unknown_where_all_is_given(full):
    assert len(unknown(full[0])) == 0


@pytest.mark.parametrize(
    ("changes", "state", "count", "reason"),
    [
        ({"fault": None}, "under a fault", 5, "no fault current given"),
        ({"load": None}, "in service", 4, "no load current given"),
        ({"voltage_kv": None}, None, 12, "no voltage given"),
    ],
)
def test_what_is_missing_is_named(changes, state, count, reason):
    course = flat_line(straight(5), load=UNBALANCED, fault=FAULT)
    settings = {k: v for k, v in (course.settings | changes).items() if v is not None or k == "voltage_kv"}
    table, found = table_of(world(Course(course.towers_m, settings, course.columns)).network())
    rows = unknown(table)
    assert len(rows) == 4 * count
    assert state is None or set(rows["state"]) == {state}
    assert rows["assumptions"].str.contains(reason).all()
    worst = found.leads.worst_ratio(state or "in service")
    assert np.isnan(worst).all() or (worst > 1).all()


def test_unknown_for_the_sake_of_others_says_so():
    beside = flat_line(straight(5, aside_m=200.0), load=None, measured=False)
    table, _ = table_of(world(flat_line(straight(5), load=UNBALANCED, fault=SMALL), beside).network())
    rows = unknown(table)
    service = rows["state"] == "in service"
    assert rows[service]["assumptions"].str.contains("voltage or load of a line near by not given").all()
    assert len(set(rows[~service]["exposure"])) == 5
    assert (
        rows[~service]["assumptions"].str.contains("fault current at some tower or of a line near by not given").all()
    )


def test_fault_unknown_at_some_towers_says_so():
    table = FaultTable(("1", "2", "3"), np.array([9.0, 8.0, 7.0]), np.full(3, 2.0))  # towers 4 and 5 have none
    course = flat_line(straight(5), load=UNBALANCED, fault={"clearing_time_s": 0.5, "table": {"path": "f.csv"}})
    found, _ = table_of(world(Course(course.towers_m, course.settings, course.columns, None, table)).network())
    rows = unknown(found)
    assert "4" in rows["tower_id"].unique()
    assert set(rows["state"]) == {"under a fault"}
    assert rows["assumptions"].str.contains("fault current at some tower or of a line near by not given").all()
    assert (rows["fault_location"] == "").all()


def test_assumptions_that_a_figure_rests_on():
    network = world(Course(straight(5), {"load": {"current_a": 400.0}, "fault": FAULT})).network()
    table, _ = table_of(network)
    text = table.set_index("exposure")["assumptions"].groupby(level=0).first()
    assert text["capacitive current, lead carried"] == "generic cross-section"
    assert text["induced by the load, balanced"] == "generic cross-section"
    assert text["standing voltage of the tower"] == (
        "generic cross-section; unbalance not given; footing resistance estimated"
    )
    assert "soil" not in text["transferred from the tower by a fault"]  # the job gives it


def test_columns_of_leads_and_towers(full):
    _, found = full
    leads = with_lead_figures(keys(), found)
    assert leads["emf_load_v"].to_numpy() == pytest.approx(found.leads.emf_load_v.ravel(), rel=DIGITS, abs=0.051)
    assert leads["stake_touch_v"].to_numpy() == pytest.approx(found.leads.stake_touch_v.ravel(), rel=DIGITS)
    assert leads["fault_location"].tolist() == found.leads.fault_location.ravel().tolist()
    largest = np.maximum(found.leads.capacitive.carried_a, found.leads.capacitive.on_ground_a).ravel()
    assert leads["capacitive_ma"].to_numpy() == pytest.approx(1000 * largest, abs=1e-4)
    assert leads["service_ratio"].to_numpy() == pytest.approx(found.leads.worst_ratio("in service").ravel(), abs=1e-4)
    towers = with_tower_figures(gpd.GeoDataFrame({"tower_id": list("12345")}), found)
    rise = pytest.approx(found.towers.potential_rise_v / 1e3, rel=DIGITS, abs=0.051)
    assert towers["earth_potential_rise_kv"].to_numpy() == rise
    assert towers["fault_location"].tolist() == found.towers.fault_location.tolist()
    assert towers["bias_frequency_hz"].to_numpy()[ROWS] == pytest.approx(found.reading.bias_frequency_hz)
    assert towers["bias_pct"].isna().tolist() == [True, False, True, False, True]
    assert towers["bias_pct"].to_numpy()[ROWS] == pytest.approx(found.reading.bias_pct, abs=1e-3)


def test_each_tower_is_held_against_its_own_limit():
    """IEEE Std 80 goes by the soil at the tower, 70 and 110 ohm metres here."""
    course = flat_line(straight(5), load=UNBALANCED, fault=FAULT)
    columns = course.columns | {"soil_resistivity_ohm_m": np.array([50.0, 70.0, 90.0, 110.0, 130.0])}
    place = world(Course(course.towers_m, course.settings, columns), limits={"touch_standard": "IEEE Std 80"})
    table, _ = table_of(place.network())
    limit = table[table["exposure"] == "induced by a fault"].set_index("waypoint")["limit"]
    expected = (1000 + 1.5 * np.array([70.0, 70.0, 110.0, 110.0])) * 0.116 / np.sqrt(0.5)
    assert limit[["2H", "2S", "4H", "4S"]].to_numpy() == pytest.approx(expected, abs=1e-3)
