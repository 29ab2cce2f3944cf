"""The ground: heights, slopes, and profiles of leads from digital elevation models."""

from layoutplan.terrain.dem import Dem, elevation_m, slope_aspect
from layoutplan.terrain.fan import fan_lengths, fan_slopes
from layoutplan.terrain.figures import SlopeFigures, slope_figures
from layoutplan.terrain.open import OpenedTerrain, open_terrain
from layoutplan.terrain.profile import Profiles, profile_points, profiles

__all__ = [
    "Dem",
    "OpenedTerrain",
    "Profiles",
    "SlopeFigures",
    "elevation_m",
    "fan_lengths",
    "fan_slopes",
    "open_terrain",
    "profile_points",
    "profiles",
    "slope_aspect",
    "slope_figures",
]
