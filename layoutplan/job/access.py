"""How the crew gets there: its vehicle, the roads that vehicle may use, and what walking costs."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from layoutplan.job.class_model import Effort, ObstacleClass, OnFoot
from layoutplan.job.classes import ROADS, named, shipped_classes
from layoutplan.job.roles import Road, Role
from layoutplan.job.section import NonNegative, Positive, Section

Vehicle = Literal["car", "four_wheel_drive", "tracked"]
# what a road is to a vehicle, in the map's ``vehicle`` column and in that of the job's layers
OPEN, PERMIT, CLOSED, PRIVATE_PATH, NO_STOPPING = "yes", "permit", "no", "private path", "no stopping"
SECOND_WINDOW_M = 700.0


def _road(name: str) -> str:
    if name not in ROADS:
        raise ValueError(f"no class of roads is called '{name}'; known: {', '.join(ROADS)}")
    return name


RoadClass = Annotated[str, AfterValidator(_road)]
# All of it is judgement. A path or footway is a track as well: the road table says by `vehicle = "no"` that nobody can
# drive there.
_ROADS_OF: Mapping[Vehicle, tuple[Road, ...]] = MappingProxyType(
    {
        "car": (Road.MINOR,),
        "four_wheel_drive": (Road.MINOR, Road.TRACK),
        "tracked": (Road.MINOR, Road.TRACK),
    }
)
ROADS_BY_VEHICLE: Mapping[Vehicle, tuple[RoadClass, ...]] = MappingProxyType(
    {vehicle: tuple(name for name, road in ROADS.items() if road in roads) for vehicle, roads in _ROADS_OF.items()}
)
# what is shut altogether is told last
ASK = tuple(sorted(named(lambda row: row.on_foot.ask), key=lambda name: shipped_classes()[name].role == Role.SHUT))


class Access(Section):
    """How the crew gets to the towers: by vehicle to a drop-off point on a road, from there on foot."""

    find_ways: bool = Field(
        True,
        description="Look for drop-off points and ways on foot, where the map holds roads; it takes time.",
    )
    vehicle: Vehicle = Field("four_wheel_drive", description="Vehicle of the crew.")
    road_classes: dict[Vehicle, tuple[RoadClass, ...]] = Field(
        default_factory=dict,
        description="Road classes on which a vehicle may stop, by vehicle. Left out: car `minor_road`; "
        "four_wheel_drive and tracked `minor_road` and `track_path`. Judgement.",
    )
    stop_by_agreement: tuple[RoadClass, ...] = Field(
        named(lambda row: row.road == Road.MAIN),
        description="Road classes on which a stop must be agreed first; for any vehicle. Judgement.",
    )
    radius_m: Annotated[float, Field(ge=50, le=5000)] = Field(
        1500.0, description="A drop-off point is looked for within this distance of the tower. Judgement."
    )
    cell_m: Annotated[float, Field(ge=1, le=20)] = Field(
        4.0, description="Spacing of the places between which walking is worked out; gaps narrower may be missed."
    )
    max_walk_slope_deg: Annotated[float, Field(gt=0, lt=90)] = Field(
        45.0, description="Nobody walks off the path on steeper ground. Judgement."
    )
    permission_detour_min: NonNegative = Field(
        10.0, description="So much longer a walk is preferred to a drop-off that needs a permission. Judgement."
    )
    permission_each_min: NonNegative = Field(
        2.0,
        description="Part of `permission_detour_min` that counts for every tower that uses a track; the rest counts "
        "once for the track, however many towers use it. Judgement.",
    )
    walking: dict[str, Effort] = Field(
        default_factory=dict,
        description='By obstacle class: multiple of the time that open ground takes, or `"blocked"`. Judgement.',
    )
    ask: tuple[str, ...] = Field(
        ASK, description="Obstacle classes on which nobody walks without a permission. Judgement."
    )
    first_window_m: Positive = Field(
        300.0, description="Surroundings that are looked at first; the next are 700 m and `radius_m`."
    )

    @model_validator(mode="after")
    def _known_classes(self) -> Self:
        for key, names in (("walking", self.walking), ("ask", self.ask)):
            if unknown := [name for name in names if name not in shipped_classes()]:
                raise ValueError(
                    f"{key}: no obstacle class '{unknown[0]}'; known: {', '.join(shipped_classes())}. A class of the "
                    "job's own has on_foot = { … } under its own [classes.<name>]"
                )
        return self

    @property
    def usable_classes(self) -> tuple[RoadClass, ...]:
        """Road classes on which the job's vehicle may stop."""
        return self.road_classes.get(self.vehicle, ROADS_BY_VEHICLE[self.vehicle])

    @property
    def asking_s(self) -> tuple[float, float]:
        """What asking for a stop counts: once for a track, and on top for each tower that uses it. [s]."""
        each = min(self.permission_each_min, self.permission_detour_min)
        return 60 * (self.permission_detour_min - each), 60 * each

    def factors(self, classes: Mapping[str, ObstacleClass]) -> dict[str, float]:
        """Multiple of the time that open ground takes, for every obstacle class.

        Parameters
        ----------
        classes : mapping of str to ObstacleClass
            Of the job.

        Returns
        -------
        dict of str to float
            Infinite where blocked. [-]

        Examples
        --------
        >>> Access(walking={"crops": 3.0}).factors(shipped_classes())["crops"]
        3.0
        """
        own = {name: OnFoot(effort=effort) for name, effort in self.walking.items()}
        return {name: own.get(name, row.on_foot).factor for name, row in classes.items()}

    def asked(self, classes: Mapping[str, ObstacleClass]) -> tuple[str, ...]:
        """Classes on which nobody walks without a permission: those of ``ask``, and the job's own that require one.

        Parameters
        ----------
        classes : mapping of str to ObstacleClass
            Of the job.

        Returns
        -------
        tuple of str
            Names of classes.
        """
        own = (name for name, row in classes.items() if row.on_foot.ask and name not in shipped_classes())
        return (*self.ask, *own)

    @property
    def windows_m(self) -> tuple[float, ...]:
        """Half sides of the surroundings to look at, one after the other. [m]."""
        steps = (self.first_window_m, max(self.first_window_m, SECOND_WINDOW_M))
        return (*(step for step in dict.fromkeys(steps) if step < self.radius_m), self.radius_m)
