"""Magnetic declination by the World Magnetic Model, for bearings that are set off with a compass."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray

BLACKOUT_NT = 2000.0  # horizontal intensity below which no compass is to be trusted
CAUTION_NT = 6000.0  # below which a compass may be off
NO_DATE = "The job names no day of work (work.first_day), so no magnetic declination is given: use true bearings."
BLACKOUT = "Blackout zone around a magnetic pole: a compass cannot be used here. Use true bearings and GPS."
CAUTION = "Near a magnetic pole: a compass may be off by more than the model states."


@dataclass(frozen=True, slots=True)
class Declination:
    """Declination at some places.

    Attributes
    ----------
    deg : ndarray, shape (n,)
        East of true north is positive; NaN where none can be given.
    notes : tuple of str, length n
        Why there is none, or what to beware of; mostly empty.
    model : str
        Name of the model, its validity, and the day it was asked for; or why it was not asked.
    brief : str
        Name of the model and the day; empty where it was not asked.
    """

    deg: FloatArray
    notes: tuple[str, ...]
    model: str
    brief: str = ""


def magnetic_declination(lonlat_deg: ArrayLike, day: date | None, *, height_m: ArrayLike = 0.0) -> Declination:
    """Angle from true north to magnetic north.

    Parameters
    ----------
    lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude; longitudes may run on beyond 180 degrees.
    day : date or None
        Without one there is no declination: today's date is never taken.
    height_m : array_like, optional
        Above the ellipsoid; 3 km change the declination by about 0.01 degrees. [m]

    Returns
    -------
    Declination
        Degrees, notes and the model's name, one for each place; NaN degrees and a note where none can be given.

    Notes
    -----
    Valid for five years from the model's release, outside the blackout zones (horizontal intensity below 2000 nT).
    The global mean error of the model is 0.26 degrees and more where the horizontal field is weak, and iron near by
    (a tower!) turns a needle much further: print half degrees.

    References
    ----------
    The World Magnetic Model 2025, technical report, NOAA National Centers for Environmental Information and British
    Geological Survey, 2024; blackout zones: MIL-PRF-89500B.

    Examples
    --------
    The example of the model's public documentation (-13.69 degrees), and no answer without a day:

    >>> found = magnetic_declination([[-71.35, 42.283]], date(2028, 7, 4), height_m=1000)
    >>> print(found.deg.round(2), "deg")
    [-13.69] deg
    >>> magnetic_declination([[-71.35, 42.283]], None).deg
    array([nan])
    """
    lonlat = np.asarray(lonlat_deg, dtype=float).reshape(-1, 2)
    unknown = np.full(len(lonlat), np.nan)
    if day is None:
        return Declination(unknown, (NO_DATE,) * len(lonlat), NO_DATE)
    from wmm import wmm_calc

    model = wmm_calc()
    terms = model.load_coeffs()
    first, last = _day(float(np.ravel(terms["min_year"])[0])), date(int(terms["epoch"]) + 5, 1, 1) - timedelta(1)
    name = f"{terms['model_name']}, valid {first} to {last}"
    if not first <= day <= last:
        text = f"{day} is outside the magnetic model ({name}): no declination is given, use true bearings."
        return Declination(unknown, (text,) * len(lonlat), text)
    if len(lonlat) == 0:
        return Declination(unknown, (), f"{name}, for {day}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # the model's own words on weak fields; ours are in the notes
        lon = np.mod(lonlat[:, 0] + 180.0, 360.0) - 180.0
        model.setup_env(lonlat[:, 1], lon, np.broadcast_to(np.asarray(height_m, dtype=float) / 1e3, lon.shape).copy())
        model.setup_time(day.year, day.month, day.day)
        north, east, _ = model.forward_base()
    horizontal = np.hypot(north, east)
    notes = np.select([horizontal < BLACKOUT_NT, horizontal < CAUTION_NT], [BLACKOUT, CAUTION], "")
    deg = np.degrees(np.arctan2(east, north))
    return Declination(
        np.where(horizontal < BLACKOUT_NT, np.nan, deg),
        tuple(str(note) for note in notes),
        f"{name}, for {day}",
        f"{terms['model_name']}, {day}",
    )


def compass_bearing_deg(bearing_deg: ArrayLike, declination_deg: ArrayLike) -> FloatArray:
    """Bearing that a compass shows, to the half degree that model and needle are good for; NaN without declination.

    Parameters
    ----------
    bearing_deg : array_like
        From true north. [deg]
    declination_deg : array_like
        Magnetic north east of true north, positive. [deg]

    Returns
    -------
    ndarray
        From magnetic north, in [0, 360). [deg]

    Examples
    --------
    >>> compass_bearing_deg([100.0, 1.0], 3.7)
    array([ 96.5, 357.5])
    """
    turned = np.asarray(bearing_deg, dtype=float) - np.asarray(declination_deg, dtype=float)
    return np.asarray(np.mod(np.round(turned * 2.0) / 2.0, 360.0))


def _day(year: float) -> date:
    start = date(int(year), 1, 1)
    days = (date(start.year + 1, 1, 1) - start).days
    return start + timedelta(round((year - start.year) * days))
