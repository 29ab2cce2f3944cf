"""The table of exposures, and the columns of leads and towers."""

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


def test_ten_rows_for_each_lead_in_order(full):
    table, _ = full
    assert len(table) == 4 * 10
    assert table["waypoint"].tolist() == [name for name in ("2H", "2S", "4H", "4S") for _ in range(10)]
    names = table["exposure"].to_numpy().reshape(4, 10)
    assert (names == names[0]).all()
    assert len(set(names[0])) == 10


def test_values_and_units(full):
    """Volts, milliamperes, kilovolts per metre."""
    table, found = full
    one = table[table["waypoint"] == "4S"].set_index("exposure")
    leads = found.leads
    assert one.at["induced by the load, balanced", "value"] == pytest.approx(leads.emf_load_v[1, 1], abs=1e-4)
    assert one.at["induced by a fault", "value"] == pytest.approx(leads.emf_fault_v[1, 1], abs=1e-4)
    assert one.at["capacitive current, lead carried", "value"] == pytest.approx(
        leads.capacitive.carried_a[1, 1] * 1000, abs=1e-4
    )
    assert one.at["electric field along the lead", "value"] == pytest.approx(
        leads.capacitive.field_v_per_m[1, 1] / 1000, abs=1e-4
    )
    assert one["unit"].value_counts().to_dict() == {"V": 7, "mA": 2, "kV/m": 1}
    assert one.at["capacitive current, lead carried", "limit"] == 1.0
    assert one.at["electric field along the lead", "limit"] == 10.0


def test_ratio_is_value_over_limit_and_sums_are_sums(full):
    table, _ = full
    assert table["ratio"].to_numpy() == pytest.approx((table["value"] / table["limit"]).to_numpy(), abs=2e-4)
    for _, lead in table.groupby("waypoint"):
        for state in ("in service", "under a fault"):
            part = lead[(lead["state"] == state) & (lead["unit"] == "V")].set_index("exposure")["value"]
            total = next(name for name in part.index if name.startswith("arithmetic"))
            assert part[total] == pytest.approx(part.drop(total).sum(), abs=1e-3)


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
        ({"fault": None}, "under a fault", 3, "no fault current given"),
        ({"load": None}, "in service", 4, "no load current given"),
        ({"voltage_kv": None}, None, 10, "no voltage given"),
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
    table, _ = table_of(world(flat_line(straight(5), load=UNBALANCED, fault=FAULT), beside).network())
    rows = unknown(table)
    service = rows["state"] == "in service"
    assert rows[service]["assumptions"].str.contains("voltage or load of a line near by not given").all()
    assert set(rows[~service]["exposure"]) == {"by a fault of a line beside"}
    assert rows[~service]["assumptions"].str.contains("fault current of a line near by not given").all()


def test_fault_unknown_at_a_neighbour_says_so():
    table = FaultTable(("1", "2", "3"), np.full(3, 4e3), np.full(3, 4e3))  # towers 4 and 5 have none
    course = flat_line(straight(5), load=UNBALANCED, fault={"clearing_time_s": 0.5, "table": {"path": "f.csv"}})
    found, _ = table_of(world(Course(course.towers_m, course.settings, course.columns, None, table)).network())
    rows = unknown(found)
    assert rows["tower_id"].unique().tolist() == ["4"]
    assert rows["assumptions"].str.contains("fault current here or at a neighbouring tower not given").all()


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
    assert leads["emf_load_v"].to_numpy() == pytest.approx(found.leads.emf_load_v.ravel(), abs=1e-3)
    largest = np.maximum(found.leads.capacitive.carried_a, found.leads.capacitive.lying_a).ravel()
    assert leads["capacitive_ma"].to_numpy() == pytest.approx(1000 * largest, abs=1e-4)
    assert leads["service_ratio"].to_numpy() == pytest.approx(found.leads.worst_ratio("in service").ravel(), abs=1e-4)
    towers = with_tower_figures(gpd.GeoDataFrame({"tower_id": list("12345")}), found)
    assert towers["earth_potential_rise_kv"].to_numpy() == pytest.approx(found.towers.potential_rise_v / 1e3, abs=1e-4)
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
