"""Places as ``geo:`` links (RFC 5870)."""

from __future__ import annotations


def geo_uri(lon_deg: float, lat_deg: float) -> str:
    """Link to a place, WGS 84, to a centimetre: ``geo:47.1234567,9.1234567``."""
    lon = round((lon_deg + 180.0) % 360.0 - 180.0, 7)
    return f"geo:{lat_deg:.7f},{-180.0 if lon >= 180.0 else lon:.7f}"
