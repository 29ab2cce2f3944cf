"""Map projections written down again from the formulas, to hold PROJ's against.

EPSG Guidance Note 7-2 (IOGP 373-7-2, Coordinate Conversions and Transformations including Formulas): Transverse
Mercator, "JHS formulas" (Krueger's series to the fourth order), and Lambert Conic Conformal with two standard
parallels. Formulas from memory; the worked examples of the note, to which `test_grid` holds them, guard against slips.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, asinh, atan, atanh, cos, cosh, log, pi, radians, sin, sinh, sqrt, tan

US_FOOT_M = 1200 / 3937
WGS84 = (6378137.0, 1 / 298.257223563)
CLARKE_1866 = (6378206.4, 1 / 294.9786982)  # as in the guidance note; axes 6378206.4 and 6356583.8
AIRY_1830 = (6377563.396, 1 / 299.3249646)


@dataclass(frozen=True)
class TransverseMercator:
    """Ellipsoid (semi-major axis, flattening), origin, scale and false origin in metres."""

    ellipsoid: tuple[float, float]
    lat_deg: float
    lon_deg: float
    scale: float
    east_m: float
    north_m: float

    def __call__(self, lon_deg: float, lat_deg: float) -> tuple[float, float]:
        a, f = self.ellipsoid
        n = f / (2 - f)
        b = a / (1 + n) * (1 + n**2 / 4 + n**4 / 64)
        h = (
            n / 2 - 2 / 3 * n**2 + 5 / 16 * n**3 + 41 / 180 * n**4,
            13 / 48 * n**2 - 3 / 5 * n**3 + 557 / 1440 * n**4,
            61 / 240 * n**3 - 103 / 140 * n**4,
            49561 / 161280 * n**4,
        )
        xi, eta = self._plane(radians(lat_deg), radians(lon_deg - self.lon_deg), h)
        start, _ = self._plane(radians(self.lat_deg), 0.0, h)
        return self.east_m + self.scale * b * eta, self.north_m + self.scale * b * (xi - start)

    def _plane(self, lat: float, lon: float, h: tuple[float, ...]) -> tuple[float, float]:
        e = sqrt(self.ellipsoid[1] * (2 - self.ellipsoid[1]))
        q = asinh(tan(lat)) - e * atanh(e * sin(lat))
        beta = atan(sinh(q))
        eta0 = atanh(cos(beta) * sin(lon))
        xi0 = asin(sin(beta) * cosh(eta0))
        xi = xi0 + sum(hi * sin(2 * i * xi0) * cosh(2 * i * eta0) for i, hi in enumerate(h, 1))
        eta = eta0 + sum(hi * cos(2 * i * xi0) * sinh(2 * i * eta0) for i, hi in enumerate(h, 1))
        return xi, eta


@dataclass(frozen=True)
class LambertConic:
    """Ellipsoid, false origin, two standard parallels; lengths in metres."""

    ellipsoid: tuple[float, float]
    lat_deg: float
    lon_deg: float
    parallels_deg: tuple[float, float]
    east_m: float
    north_m: float

    def __call__(self, lon_deg: float, lat_deg: float) -> tuple[float, float]:
        n, factor = self._cone()
        a, theta = self.ellipsoid[0], n * radians(lon_deg - self.lon_deg)
        r, r0 = (a * factor * self._t(radians(lat)) ** n for lat in (lat_deg, self.lat_deg))
        return self.east_m + r * sin(theta), self.north_m + r0 - r * cos(theta)

    def scale(self, lat_deg: float) -> float:
        n, factor = self._cone()
        lat = radians(lat_deg)
        return n * factor * self._t(lat) ** n / self._m(lat)

    def _cone(self) -> tuple[float, float]:
        first, second = map(radians, self.parallels_deg)
        n = log(self._m(first) / self._m(second)) / log(self._t(first) / self._t(second))
        return n, self._m(first) / (n * self._t(first) ** n)

    def _m(self, lat: float) -> float:
        return cos(lat) / sqrt(1 - self._e2 * sin(lat) ** 2)

    def _t(self, lat: float) -> float:
        e = sqrt(self._e2)
        return tan(pi / 4 - lat / 2) / ((1 - e * sin(lat)) / (1 + e * sin(lat))) ** (e / 2)

    @property
    def _e2(self) -> float:
        f = self.ellipsoid[1]
        return f * (2 - f)


UTM_32 = TransverseMercator(WGS84, 0.0, 9.0, 0.9996, 500_000.0, 0.0)
