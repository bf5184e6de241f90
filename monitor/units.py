"""Other units than the newton, and numbers as people read them: used at the edge only, never stored."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal, get_args

from monitor.errors import MonitorError

LoadUnit = Literal["N", "kgf", "lbf", "%BW"]
"""Units in which a load may be shown; ``%BW`` is percent of bodyweight."""

LOAD_UNITS: tuple[LoadUnit, ...] = get_args(LoadUnit)

N_PER_KGF = 9.80665
"""Kilogram-force: 1 kg under standard gravity, exact (3rd CGPM, 1901). Local gravity does not enter."""

N_PER_LBF = 4.4482216152605
"""Pound-force: 0.45359237 kg (the international pound, exact) under standard gravity."""

_MINUS = "\N{MINUS SIGN}"


class BodyweightUnknown(MonitorError):
    """A load was to be shown in percent of a bodyweight that is not known."""

    code = "bodyweight-unknown"


class UnknownUnit(MonitorError):
    """A load was to be shown in a unit that does not exist here."""

    code = "unknown-unit"


def kgf(load_N: float) -> float:
    """Return newtons as kilogram-force."""
    return load_N / N_PER_KGF


def lbf(load_N: float) -> float:
    """Return newtons as pound-force."""
    return load_N / N_PER_LBF


def percent_of_bodyweight(load_N: float, bodyweight_N: float | None) -> float:
    """Return newtons as percent of bodyweight.

    Raises
    ------
    BodyweightUnknown
        Unless the bodyweight is a number above 0.
    """
    if bodyweight_N is None or not (math.isfinite(bodyweight_N) and bodyweight_N > 0):
        raise BodyweightUnknown(
            what="The bodyweight is not known.",
            means="Loads cannot be told as a share of it.",
            do="Stand still on the platform for a few seconds, give the bodyweight, or choose another unit.",
        )
    return 100.0 * load_N / bodyweight_N


def load_in(unit: str, load_N: float, bodyweight_N: float | None = None) -> float:
    """Return a load, or its standard uncertainty, in one of ``LOAD_UNITS``.

    Raises
    ------
    UnknownUnit, BodyweightUnknown
    """
    if unit == "N":
        return load_N
    if unit == "kgf":
        return kgf(load_N)
    if unit == "lbf":
        return lbf(load_N)
    if unit == "%BW":
        return percent_of_bodyweight(load_N, bodyweight_N)
    raise UnknownUnit(
        what=f"There is no unit {unit!r} for loads.",
        means="The load cannot be shown in it.",
        do=f"Choose one of {', '.join(LOAD_UNITS)}.",
    )


def digits_told(u: float) -> int:
    """Return the decimal places that a standard uncertainty allows: to one digit of it, to two where it begins with 1.

    At most two digits are what JCGM 100:2008, 7.2.6 recommends; negative for uncertainties of 20 and above.
    """
    exponent = Decimal(repr(float(u))).adjusted()
    rounded = Decimal(repr(float(u))).quantize(Decimal(1).scaleb(exponent), ROUND_HALF_EVEN)
    first, exponent = rounded.as_tuple().digits[0], rounded.adjusted()
    return -exponent + (1 if first == 1 else 0)


def told(value: float | None, u: float | None = None, unit: str = "", places: int = 3) -> str:
    """Return a number as people read it, ``12.4 ± 0.3 %``: digits cut to what its uncertainty allows.

    Parameters
    ----------
    value : float or None
        None and NaN are told as ``not known``.
    u : float, optional
        Standard uncertainty in the same unit; without it (or with 0) the value is told with ``places`` decimals.
    unit : str, optional
        Put behind the number.
    places : int
        Most decimal places, whatever the uncertainty allows; one that vanishes at these places is left out.
    """
    if value is None or not math.isfinite(value):
        return "not known"
    tail = f" {unit}" if unit else ""
    if u is None or not math.isfinite(u) or u <= 0:
        return _fixed(value, places) + tail
    decimals = min(digits_told(u), places)
    u_text = _fixed(u, decimals)
    if float(u_text) == 0:
        return _fixed(value, decimals) + tail
    return f"{_fixed(value, decimals)} ± {u_text}{tail}"


def _fixed(value: float, decimals: int) -> str:
    rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
    text = f"{abs(rounded):.{max(decimals, 0)}f}"
    return f"{_MINUS}{text}" if rounded < 0 else text
