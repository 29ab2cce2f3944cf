"""The parcels that stakes and leads touch."""

from types import SimpleNamespace

import geopandas as gpd
import pytest
import shapely

from layoutplan.job import Job
from layoutplan.layout.notes import assumptions
from layoutplan.planning.permissions import permissions_table


def test_tower_ids_keep_their_spaces():
    keys = {"line_id": "A", "tower_id": ["T 12 north", "T 12 north"], "role": ["H", "S"]}
    ends = shapely.points([[9.0012, 47.0], [8.9988, 47.0]])
    tower = shapely.Point(9.0, 47.0)
    electrodes = gpd.GeoDataFrame(keys, geometry=ends, crs=4326)
    leads = gpd.GeoDataFrame(keys, geometry=[shapely.LineString([tower, end]) for end in ends], crs=4326)
    parcel = {
        "parcel": ["7"],
        "owner_ref": [""],
        "permission": ["unknown"],
        "state": ["permission needed"],
        "note": [""],
        "source": ["parcels"],
    }
    land = gpd.GeoDataFrame(parcel, geometry=[shapely.box(9.0005, 46.999, 9.002, 47.001)], crs=4326)
    (row,) = permissions_table(land, electrodes, leads).to_dict("records")
    assert (row["towers"], row["stakes"]) == ("T 12 north", "T 12 north H")


@pytest.mark.parametrize(
    ("land", "classes", "told"),
    [
        ([], [], "no permitted land was given: nothing is known of permission to enter"),
        (
            ["parcels.gpkg"],
            [],
            "ground that no area of the job's land covers is not kept off: no permission to enter it is known",
        ),
        (["parcels.gpkg"], ["permitted_land"], ""),
        ([], ["permitted_land"], ""),
    ],
)
def test_ground_of_which_nobody_was_asked_is_told(land, classes, told):
    settings = {
        "lines": [{"towers": {"path": "towers.gpkg"}}],
        "land": [{"path": path, "permission": "granted"} for path in land],
        "layers": [{"path": "map.gpkg", "obstacle_class": name} for name in classes],
    }
    nothing = SimpleNamespace(assumptions=())
    texts = assumptions(Job.model_validate(settings), nothing, nothing, 0)
    assert [text.startswith(told) for text in texts if "permission to enter" in text] == [True] * bool(told)
