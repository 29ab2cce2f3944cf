"""Positions as ``geo:`` links, which telephones open in whatever map program they have (RFC 5870)."""

from __future__ import annotations

from layoutplan.errors import InputRangeError

_MOST_DECIMALS = 9


def geo_uri(lat_deg: float, lon_deg: float, *, uncertainty_m: float | None = None, decimals: int = 7) -> str:
    """Position as a ``geo:`` URI: latitude, then longitude, WGS 84, without altitude.

    Altitude is left out on purpose: RFC 5870 means heights above the ellipsoid, elevation models give others.

    Parameters
    ----------
    lat_deg : float
        -90 to 90. [deg]
    lon_deg : float
        Any turn; written within [-180, 180), at a pole as 0 (RFC 5870, section 3.4.2). [deg]
    uncertainty_m : float, optional
        Within which the position is known, the parameter ``u``; 0 or more. [m]
    decimals : int
        Of a degree, 0 to 9; 7 are a centimetre. Zeros at the end are left out.

    Returns
    -------
    str
        For instance ``geo:48.198634,16.371648;u=40``.

    Raises
    ------
    InputRangeError
        If a number is not finite or lies outside its range.

    References
    ----------
    .. [1] A. Mayrhofer, C. Spanring, RFC 5870, "A Uniform Resource Identifier for Geographic Locations ('geo' URI),"
       June 2010: grammar in section 3.3, uncertainty in section 3.4.3.

    Examples
    --------
    >>> geo_uri(48.198634, 16.371648, uncertainty_m=40)
    'geo:48.198634,16.371648;u=40'
    """
    if not -90 <= lat_deg <= 90:
        raise InputRangeError(f"latitude {lat_deg!r} for a geo: link lies outside -90 to 90 degrees.")
    if not abs(lon_deg) < float("inf"):
        raise InputRangeError(f"longitude {lon_deg!r} for a geo: link is no number.")
    if not 0 <= decimals <= _MOST_DECIMALS:
        raise InputRangeError(f"{decimals} decimals for a geo: link; 0 to {_MOST_DECIMALS} make sense.")
    lat = _number(lat_deg, decimals)
    lon = "0" if lat in ("90", "-90") else _longitude(lon_deg, decimals)
    return f"geo:{lat},{lon}{_uncertainty(uncertainty_m)}"


def _longitude(lon_deg: float, decimals: int) -> str:
    within = (lon_deg + 180.0) % 360.0 - 180.0 if not -180 <= lon_deg < 180 else lon_deg
    text = _number(within, decimals)
    return "-180" if text == "180" else text


def _uncertainty(metres: float | None) -> str:
    if metres is None:
        return ""
    if not 0 <= metres < float("inf"):
        raise InputRangeError(f"uncertainty {metres!r} m for a geo: link must be 0 or more.")
    return f";u={_number(metres, 3)}"


def _number(value: float, decimals: int) -> str:
    """Plain decimal number without exponent, plus sign, zeros at the end, or minus zero."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
