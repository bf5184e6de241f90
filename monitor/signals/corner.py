"""A load with a corner between readings: hands that close on a bar, or open.

A reading is the mean over its interval. Before the corner the load is constant; after it the change starts with slope 0
and may reach any slope within milliseconds. Every possible instant of the corner is weighted by how well it explains
the readings.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from monitor.signals.session_loads import Array

TAKE_UP_S = 0.005
"""How fast a contact reaches its slope: skin and fingers yield for some milliseconds (common practice, no source;
between 3 and 8 ms the results hardly differ)."""

FINE_Hz = 1280.0
"""A load is looked at in steps of a 1280th of a second: results hardly differ for finer ones (common practice, no
source)."""

MODELLED_S = 0.0875
"""So much of the load after a corner is modelled: seven readings at 80 per second (common practice, no source)."""

NUGGET = 1e-6
"""Share of the mean variance that is added to every reading's, so that the covariance can be inverted (common
practice, no source)."""


def fine_steps(rate_Hz: float) -> int:
    """Return how many steps a sample interval is divided into."""
    return max(2, round(FINE_Hz / rate_Hz))


@dataclass(frozen=True, slots=True)
class Corner:
    """A load's change after a corner, for every instant at which the corner may lie.

    Attributes
    ----------
    begins_s : (k,) float
        The instants, from the beginning of the first reading's interval on.
    share : (k,) float
        The weight of each; they add up to 1.
    course_N : (k, m) float
        The change at the middle of each fine step after the instant.
    left : (k, m) float
        Its variance (N^2), given the readings.
    """

    begins_s: Array
    share: Array
    course_N: Array
    left: Array


def corner_of(changed_N: Array, rate_Hz: float) -> Corner | None:
    """Return the corner before the first of some readings (n,) that have changed; None for too few of them.

    It lies between the beginning of the reading before them and the end of the first of them.
    """
    n, fine = max(4, round(MODELLED_S * rate_Hz)), fine_steps(rate_Hz)
    readings = changed_N[:n]
    if len(readings) < n:
        return None
    corners = corners_of(n, fine, round(rate_Hz))
    weights = corners.inverse @ readings
    fit = weights @ readings
    course_N = np.einsum("kmn,kn->km", corners.course, weights)
    # The reading before has not changed, so what falls into it must be within its noise.
    unseen_N = (corners.early * course_N).sum(axis=1)
    likely = -0.5 * (n * np.log(fit) + corners.log_determinant + unseen_N**2)
    share = np.exp(likely - likely.max())
    begins_s = np.arange(-fine, fine) / (fine * rate_Hz)
    return Corner(begins_s, share / share.sum(), course_N, corners.left * (fit / n)[:, None])


@dataclass(frozen=True, slots=True)
class Corners:
    """The distribution of n readings for a corner at each of k instants.

    Attributes
    ----------
    inverse : (k, n, n) float
        Of the readings' covariance; ``log_determinant`` (k,) of that covariance.
    course : (k, m, n) float
        Covariance of the change at m steps after the instant with the readings; 0 after the last of them.
    early : (k, m) float
        Steps that fall into the reading before the first, as shares of its interval.
    left : (k, m) float
        Variance of the change at each step, given the readings, in units of the process.
    """

    inverse: Array
    log_determinant: Array
    course: Array
    early: Array
    left: Array


@functools.lru_cache(maxsize=4)
def corners_of(n: int, fine: int, rate_Hz: int) -> Corners:
    """Return the distribution of n readings for a corner in the interval of the first, or in the one before it.

    The slope is a stationary process (Matern, of smoothness 3/2 and length ``TAKE_UP_S``) conditioned on being 0 at the
    corner; the load is its integral, a reading the mean of that over its interval (Gaussian process regression; C. E.
    Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, equations 2.22 to 2.24 and 2.30,
    from memory).
    """
    step_s, steps = 1.0 / (rate_Hz * fine), (n + 1) * fine
    since_s = np.asarray((np.arange(steps) + 0.5) * step_s, dtype=float)
    at_zero = _matern(since_s)
    slope = _matern(since_s[:, None] - since_s) - np.outer(at_zero, at_zero)
    load = _integrated(_integrated(slope, step_s).T, step_s)
    inverse, course = np.zeros((2 * fine, n, n)), np.zeros((2 * fine, steps, n))
    log_determinant, left = np.zeros(2 * fine), np.zeros((2 * fine, steps))
    for k, begins in enumerate(range(-fine, fine)):
        # Step i after the corner is step i + ``begins`` after the start of the first reading.
        early, late, m = max(0, -begins), max(0, begins), n * fine - begins
        into = np.zeros((m, n * fine))
        into[:, late:] = load[:m, early:m]
        with_readings = into.reshape(m, n, fine).mean(axis=2)
        among = np.zeros((n * fine, n))
        among[late:] = with_readings[early:]
        covariance = among.reshape(n, fine, n).mean(axis=1)
        covariance += NUGGET * float(np.trace(covariance)) / n * np.eye(n)
        inverse[k], course[k, :m] = np.linalg.inv(covariance), with_readings
        log_determinant[k] = np.linalg.slogdet(covariance)[1]
        explained = np.einsum("mn,nl,ml->m", with_readings, inverse[k], with_readings)
        left[k, :m] = np.maximum(0.0, np.diag(load)[:m] - explained)
    before = np.arange(steps) < fine - np.arange(2 * fine)[:, None]
    return Corners(inverse, log_determinant, course, before / fine, left)


def _integrated(rows: Array, step_s: float) -> Array:
    """Return the integral over the rows up to the middle of each step: its own row counts half."""
    return np.asarray(step_s * (np.cumsum(rows, axis=0) - 0.5 * rows))


def _matern(apart_s: Array) -> Array:
    a = math.sqrt(3.0) * np.abs(apart_s) / TAKE_UP_S
    return np.asarray((1.0 + a) * np.exp(-a))
