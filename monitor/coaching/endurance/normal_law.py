"""The normal distribution's integral, its logarithm and its inverse, without the package that they come from.

The integral and its logarithm are SciPy's compiled ones, loaded by themselves (decision 10); a SciPy that keeps them
elsewhere, or in which they answer otherwise, is asked through its front door.
"""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.signals.compiled import compiled_module

Array = NDArray[np.float64]

KNOTS = np.linspace(-38.5, 8.5, 4701)
"""Between these the inverse is read off; 38.5 standard deviations are as rare as the smallest number."""


@functools.cache
def _laws() -> tuple[Any, Any]:
    """Return the integral and its logarithm."""
    module = compiled_module("special", "_special_ufuncs")
    found = getattr(module, "ndtr", None), getattr(module, "log_ndtr", None)
    return found if _answer(*found) else front_door_laws()


def _answer(integral: Any, log_integral: Any) -> bool:
    """Say whether the two are what they are called: half at 0, and at 1 what the error function of Python tells."""
    told = [0.5, 0.5 * (1 + math.erf(math.sqrt(0.5)))]
    try:
        answers = np.stack([integral([0.0, 1.0]), np.exp(log_integral([0.0, 1.0]))])
    except (TypeError, ValueError):
        return False
    return np.allclose(answers, told, rtol=1e-14, atol=0.0)


def front_door_laws() -> tuple[Any, Any]:
    """Return both through ``scipy.special``."""
    from scipy.special import log_ndtr, ndtr

    return ndtr, log_ndtr


def chance_below(z: ArrayLike) -> Array:
    """Return the chance that a standard normal variable lies below z."""
    return np.asarray(_laws()[0](z))


def log_chance_below(z: ArrayLike) -> Array:
    """Return the logarithm of ``chance_below``, exact far out as well."""
    return np.asarray(_laws()[1](z))


@functools.cache
def _log_chances() -> Array:
    return log_chance_below(KNOTS)


def exceeded_by(chance: ArrayLike) -> Array:
    """Return what a standard normal variable lies below with a chance above 0 and below 1.

    Read off between ``KNOTS``; one step of E. Halley's method on the logarithm, which cubes the error, makes it exact
    to rounding.
    """
    log_p = np.log(chance)
    z = np.interp(log_p, _log_chances(), KNOTS)
    log_there = log_chance_below(z)
    slope = np.exp(-0.5 * z**2 - 0.5 * math.log(2 * math.pi) - log_there)
    off = (log_there - log_p) / slope
    return np.asarray(z - off / (1 + 0.5 * off * (z + slope)))
