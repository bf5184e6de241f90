"""Other units than the newton: used at the edge only, never stored."""

from __future__ import annotations

import math
from typing import Literal, get_args

from monitor.errors import MonitorError

LoadUnit = Literal["N", "kgf", "lbf", "%BW"]
"""Units in which a load may be shown; ``%BW`` is percent of bodyweight."""

LOAD_UNITS: tuple[LoadUnit, ...] = get_args(LoadUnit)

N_PER_KGF = 9.80665
"""Kilogram-force: 1 kg under standard gravity, exact (3rd CGPM, 1901). Local gravity does not enter."""

N_PER_LBF = 4.4482216152605
"""Pound-force: 0.45359237 kg (the international pound, exact) under standard gravity."""


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
