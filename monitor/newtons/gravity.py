"""Local gravity from latitude and height: what turns a mass into newtons where the rig stands."""

from __future__ import annotations

import math

from monitor.errors import MonitorError
from monitor.rig import STANDARD_GRAVITY_m_s2

SEMI_MAJOR_AXIS_m = 6378137.0
FLATTENING = 1 / 298.257223563
ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)
GRAVITY_AT_EQUATOR_m_s2 = 9.7803253359
SOMIGLIANA_K = 0.00193185265241
CENTRIFUGAL_RATIO = 0.00344978650684
"""m = omega^2 a^2 b / GM of the WGS 84 ellipsoid; with the four above as in NIMA TR8350.2, third edition."""

U_NORMAL_GRAVITY_m_s2 = 5e-4
"""How far true gravity commonly lies from normal gravity: 50 mGal as a standard uncertainty (common practice)."""

HALF_RANGE_ON_EARTH_m_s2 = 0.026
"""Half of the way from the equator (9.780) to the poles (9.832): what is not known where no place is given."""

LOWEST_m, HIGHEST_m = -500.0, 9000.0
"""The Dead Sea's shore and the highest mountains, with room."""


class BadPlace(MonitorError):
    """A latitude or a height that is nowhere on the ground."""

    code = "bad-place"


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Return WGS 84 normal gravity in m/s^2.

    On the ellipsoid by Somigliana's closed formula, above it by the free-air term to second order in height (NIMA
    TR8350.2, third edition, chapter 4; W. A. Heiskanen and H. Moritz, Physical Geodesy). True gravity differs by the
    local anomaly, ``U_NORMAL_GRAVITY_m_s2``.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, -90 to 90.
    height_m : float
        Height above the ellipsoid; height above sea level is close enough (the geoid lies within 0.1 km).

    Raises
    ------
    BadPlace
    """
    if not (math.isfinite(latitude_deg) and abs(latitude_deg) <= 90):
        raise BadPlace(
            what=f"A latitude of {latitude_deg:g} degrees cannot be.",
            means="Local gravity is not known, and with it no load of a mass.",
            do="Give decimal degrees between -90 (south pole) and 90 (north pole).",
        )
    if not (math.isfinite(height_m) and LOWEST_m <= height_m <= HIGHEST_m):
        raise BadPlace(
            what=f"A height of {height_m:g} m is nowhere on the ground.",
            means="Local gravity is not known, and with it no load of a mass.",
            do=f"Give metres above sea level, {LOWEST_m:g} to {HIGHEST_m:g}.",
        )
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    surface = GRAVITY_AT_EQUATOR_m_s2 * (1 + SOMIGLIANA_K * sin2) / math.sqrt(1 - ECCENTRICITY_SQUARED * sin2)
    slope = 2 * (1 + FLATTENING + CENTRIFUGAL_RATIO - 2 * FLATTENING * sin2) / SEMI_MAJOR_AXIS_m
    return surface * (1 - slope * height_m + 3 * (height_m / SEMI_MAJOR_AXIS_m) ** 2)


def effect_of(gravity_m_s2: float) -> float:
    """Return by which fraction a mass weighs more than under standard gravity."""
    return gravity_m_s2 / STANDARD_GRAVITY_m_s2 - 1
