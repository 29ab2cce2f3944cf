"""The unit of a file's heights, from whatever states it: the job, the reference system, the band."""

from __future__ import annotations

import numpy as np
import pyproj

from layoutplan.errors import InputError
from layoutplan.job.terrain import VerticalUnit

# both feet are exact by definition
_METRES = {"metre": 1.0, "foot": 0.3048, "us_survey_foot": 1200 / 3937}
_BAND_UNITS = dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0)
_BAND_UNITS |= dict.fromkeys(("ft", "foot", "feet", "international foot"), 0.3048)
_BAND_UNITS |= dict.fromkeys(("us survey foot", "us survey feet", "us-ft", "ftus", "us_survey_foot"), 1200 / 3937)


def metres_per_unit(crs: pyproj.CRS, band_unit: str, given: VerticalUnit | None, where: str) -> tuple[float, list[str]]:
    """Metres per unit of height, and what had to be assumed.

    Parameters
    ----------
    crs : CRS
        Of the file; with a vertical axis it states the unit.
    band_unit : str
        What the file states of its values, empty if nothing.
    given : str or None
        What the job states; it wins.
    where : str
        The file, for messages.

    Returns
    -------
    metres : float
    assumed : list of str
        Empty if the unit is stated.

    Raises
    ------
    InputError
        The file contradicts itself, or names a unit that is not known.

    Examples
    --------
    >>> metres_per_unit(pyproj.CRS("EPSG:32632"), "ft", None, "dem.tif")
    (0.3048, [])
    >>> metres_per_unit(pyproj.CRS("EPSG:32632"), "", None, "dem.tif")[1]
    ['dem.tif: the file does not say the unit of its heights; metres are assumed']
    """
    if given is not None:
        return _METRES[given], []
    says = []
    if len(crs.axis_info) > 2:
        says.append(crs.axis_info[2].unit_conversion_factor)
    if band_unit:
        if band_unit.lower() not in _BAND_UNITS:
            raise InputError(f"{where}: heights in '{band_unit}', which is not known. Set terrain.vertical_unit.")
        says.append(_BAND_UNITS[band_unit.lower()])
    if says and not np.allclose(says, says[0], rtol=1e-5):
        raise InputError(
            f"{where}: the reference system and the band ('{band_unit}') differ on the unit of the heights. "
            "Set terrain.vertical_unit."
        )
    if says:
        return says[0], []
    text = f"{where}: the file does not say the unit of its heights; metres are assumed"
    if "foot" in crs.axis_info[0].unit_name.lower():
        text += ", though its coordinates are in feet. If the heights are too, set terrain.vertical_unit"
    return 1.0, [text]
