"""Quantiles of the chi-square distribution, for the one place where measuring needs them.

SciPy knows them as well; its special functions cost a small board 25 MB of memory for this one.
"""

from __future__ import annotations

import functools
import math

MOST_TURNS = 100_000
CLOSE = 1e-15


def upper_tail(value: float, dof: float) -> float:
    """Return the chance that chi-square of ``dof`` degrees of freedom lies above a value; value > dof + 2.

    The continued fraction of the incomplete gamma function (M. Abramowitz and I. A. Stegun, Handbook of Mathematical
    Functions, 6.5.31, from memory), evaluated forward (W. J. Lentz, Applied Optics 15 (1976) 668-671, from memory).
    """
    a, x = dof / 2, value / 2
    b = x + 1 - a
    c, d = math.inf, 1 / b
    whole = d
    for turn in range(1, MOST_TURNS):
        step = -turn * (turn - a)
        b += 2
        d = 1 / (step * d + b)
        c = b + step / c
        whole *= c * d
        if abs(c * d - 1) < CLOSE:
            break
    return math.exp(a * math.log(x) - x - math.lgamma(a)) * whole


@functools.lru_cache(maxsize=512)
def exceeded_by_chance(dof: float, chance: float) -> float:
    """Return the value that chi-square of ``dof`` degrees of freedom exceeds with a small chance (up to 0.05).

    Newton's method on the tail's logarithm, from the approximation of E. B. Wilson and M. M. Hilferty (Handbook of
    Mathematical Functions, 26.4.17, from memory).

    Raises
    ------
    ValueError
        ``dof`` is below 1, or the chance is none or not small.
    """
    if not (dof >= 1 and 0 < chance <= 0.05):
        raise ValueError(f"A chance of {chance} with {dof} degrees of freedom is not tabulated here.")
    away = _normal_beyond(chance)
    value = dof * (1 - 2 / (9 * dof) + away * math.sqrt(2 / (9 * dof))) ** 3
    for _ in range(20):
        tail = upper_tail(value, dof)
        density = math.exp((dof / 2 - 1) * math.log(value / 2) - value / 2 - math.lgamma(dof / 2)) / 2
        step = math.log(tail / chance) * tail / density
        value += step
        if abs(step) < 1e-13 * value:
            break
    return value


def _normal_beyond(chance: float) -> float:
    """Return what a standard normal variable exceeds with a chance.

    Newton's method from a rational approximation (Handbook of Mathematical Functions, 26.2.23, from memory).
    """
    log = math.sqrt(-2 * math.log(chance))
    away = log - (2.515517 + 0.802853 * log + 0.010328 * log**2) / (
        1 + 1.432788 * log + 0.189269 * log**2 + 0.001308 * log**3
    )
    for _ in range(3):
        tail = math.erfc(away / math.sqrt(2)) / 2
        away += (tail - chance) * math.sqrt(2 * math.pi) * math.exp(away**2 / 2)
    return away
