"""Allan deviation: how long averaging helps, and what noise and drift a reading has."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

Array = NDArray[np.float64]

FEWEST_VALUES = 16
"""Fewer values say nothing of how noise averages (common practice, no source)."""

SURE = 0.999
"""An excess over white noise counts only where white noise alone would show it in one of a thousand cases (common
practice, no source)."""


def overlapping_allan(values: Array, m: int = 1) -> float:
    """Return the overlapping Allan deviation of evenly spaced values at an averaging of m of them.

    For values y_j: sigma^2 = sum over all starts of (mean of the next m - mean of these m)^2 / 2 / number of starts
    (W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065, 2008, section 5.2.4; there y is a fractional
    frequency).

    Parameters
    ----------
    values : (n,) float
        Any unit, n >= 2 m; ValueError otherwise.
    m : int

    Returns
    -------
    float, in the values' unit.
    """
    if m < 1 or len(values) < 2 * m:
        raise ValueError(f"{len(values)} values do not hold two averages of {m}.")
    return _deviation(_sums(values), m)


def _sums(values: Array) -> Array:
    """Return the sums (n + 1,) of the first 0, 1, ... n values; large raw counts would cost digits with their mean."""
    sums = np.zeros(len(values) + 1)
    np.cumsum(values - values.mean(), out=sums[1:])
    return sums


def _deviation(sums: Array, m: int) -> float:
    difference = sums[2 * m :] - 2 * sums[m:-m] + sums[: -2 * m]
    return math.sqrt(float(difference @ difference) / (2 * len(difference))) / m


@dataclass(frozen=True, slots=True)
class AllanCurve:
    """Allan deviations at octaves of the averaging time.

    Attributes
    ----------
    tau_s, deviation : (k,) float
        Averaging times and deviations in the values' unit.
    dof : (k,) float
        Degrees of freedom of each variance under white noise.
    count : (k,) int
        Readings in each average.
    values : int
        Readings in all.
    """

    tau_s: Array
    deviation: Array
    dof: Array
    count: NDArray[np.int64]
    values: int


def allan_curve(values: Array, rate_Hz: float) -> AllanCurve:
    """Return the Allan deviation at 1, 2, 4, ... readings, up to a third of the record.

    Parameters
    ----------
    values : (n,) float
        Evenly spaced, n >= ``FEWEST_VALUES``; ValueError otherwise.
    rate_Hz : float
    """
    n = len(values)
    if n < FEWEST_VALUES:
        raise ValueError(f"{n} values are too few for an Allan curve; {FEWEST_VALUES} are the least.")
    count, dof = _octaves(n)
    sums = _sums(values)
    deviation = np.array([_deviation(sums, m) for m in count.tolist()])
    return AllanCurve(count / rate_Hz, deviation, dof, count, n)


@functools.lru_cache(maxsize=256)
def _octaves(n: int) -> tuple[NDArray[np.int64], Array]:
    """Return the averages that an Allan curve of n values has, and their degrees of freedom; not to be written to."""
    count = 2 ** np.arange(int(math.log2(n / 3)) + 1, dtype=np.int64)
    dof = white_noise_dof(n, count)
    count.flags.writeable = dof.flags.writeable = False
    return count, dof


def white_noise_dof(n: int, m: NDArray[np.int64]) -> Array:
    """Return the degrees of freedom of overlapping Allan variances of n values of white noise.

    (3 (N - 1) / (2 m) - 2 (N - 2) / N) 4 m^2 / (4 m^2 + 5) with N = n + 1 sums (NIST SP 1065, section 5.4.1; from
    memory, checked by simulation in the tests).
    """
    sums = n + 1
    dof = (3 * (sums - 1) / (2 * m) - 2 * (sums - 2) / sums) * (4 * m**2) / (4 * m**2 + 5)
    return np.maximum(np.asarray(dof, dtype=np.float64), 1.0)


@dataclass(frozen=True, slots=True)
class Stability:
    """What an Allan curve says about averaging.

    Attributes
    ----------
    white : float
        Standard deviation of one reading's white noise.
    excess : float
        Slow wandering: the largest deviation beyond white noise that is sure; 0 where the record is white.
    best_tau_s : float
        Averaging longer than this does not help; the record's length where noise is white.
    """

    white: float
    excess: float
    best_tau_s: float

    def standard_error(self, n: int) -> float:
        """Return the standard uncertainty of a mean of n readings: white noise shrinks with n, wandering does not."""
        return math.hypot(self.white / math.sqrt(n), self.excess)

    def readings_for(self, target: float) -> int | None:
        """Return how many readings must be averaged for a standard error; None: it never will be that small."""
        if not target > self.excess:
            return None
        return max(1, math.ceil(self.white**2 / (target**2 - self.excess**2)))


def judge(curve: AllanCurve) -> Stability:
    """Return what a curve says: white noise from its short end, wandering from what lies surely above that line."""
    white = float(curve.deviation[0])
    floor = white / np.sqrt(curve.count)
    limit = chdtri(curve.dof, 1 - SURE) / curve.dof
    beyond = (curve.deviation / np.where(floor > 0, floor, 1.0)) ** 2 > limit
    beyond[0] = False
    excess2 = np.where(beyond, curve.deviation**2 - floor**2, 0.0)
    if not beyond.any():
        return Stability(white, 0.0, float(curve.values * curve.tau_s[0]))
    return Stability(white, math.sqrt(float(excess2.max())), float(curve.tau_s[int(np.argmin(curve.deviation))]))
