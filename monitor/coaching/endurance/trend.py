"""The trend of strength over weeks, with its uncertainty and a test that would disprove it.

``ln T = a + slope * weeks + b ln beta``: all holds have the same weight; the slope is the growth of the time at any
load. The posterior is sampled by importance: points are drawn from a wide Student distribution around its mode and
weighted by their true density, so that the result is exact up to the sampling error; the seed is fixed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.coaching.endurance.curve import PRIOR, Prior, log_likelihood
from monitor.coaching.endurance.effort import Effort, Efforts, as_arrays
from monitor.coaching.endurance.forecast import INTERVAL, Estimate
from monitor.coaching.endurance.mode import find_mode

Array = NDArray[np.float64]

SLOPE_SD_PER_WEEK = 0.10
"""Prior: a change of more than 20 % a week is not expected (common practice, no source)."""

LEAST_HOLDS, LEAST_WEEKS = 5, 1.5
"""With fewer holds, or over less time, there is no trend (common practice, no source)."""

MOST_HOLDS = 200
"""The newest holds that a trend takes in (common practice, no source)."""

DRAWS, FREEDOM = 6000, 6
"""Points that are drawn, and the degrees of freedom of the distribution they are drawn from (common practice, no
source)."""

TEST_WEEKS, TEST_HOLDS = 2.0, 3
"""When, and on how many holds, the trend is put to the test (common practice, no source)."""


@dataclass(frozen=True)
class Trend:
    """What is known of a person's change.

    Attributes
    ----------
    per_week : Estimate
        Change of the time at any load in a week, as a fraction: 0.05 is 5 % more.
    chance_of_gain : float
        Probability that the time grows at all.
    weeks : float
        Between the first and the last hold.
    holds : int
    disproof : str
        What would disprove the trend, in words.
    a, b, sigma, slope : (k,) float
        Equally likely points of the posterior; ``a`` is of today, ``slope`` of ln T in a week.
    """

    per_week: Estimate
    chance_of_gain: float
    weeks: float
    holds: int
    disproof: str
    a: Array
    b: Array
    sigma: Array
    slope: Array


def fit_trend(efforts: Sequence[Effort], prior: Prior = PRIOR, seed: int = 0) -> Trend | None:
    """Return the trend; None for fewer than ``LEAST_HOLDS`` holds or less than ``LEAST_WEEKS`` weeks."""
    data = as_arrays(efforts, most=MOST_HOLDS)
    weeks = float(np.ptp(data.age_days)) / 7 if len(data) else 0.0
    if len(data) < LEAST_HOLDS or weeks < LEAST_WEEKS:
        return None
    a, b, sigma, slope = _draws(data, prior, seed)
    growth = np.expm1(slope)
    low, middle, high = np.quantile(growth, [INTERVAL[0], 0.5, INTERVAL[1]])
    per_week = Estimate(float(middle), float(low), float(high))
    beta = float(np.exp(np.median(data.log_beta)))
    return Trend(
        per_week=per_week,
        chance_of_gain=float(np.mean(slope > 0)),
        weeks=weeks,
        holds=len(data),
        disproof=_disproof(a, b, sigma, slope, beta, seed),
        a=a,
        b=b,
        sigma=sigma,
        slope=slope,
    )


def _draws(data: Efforts, prior: Prior, seed: int) -> tuple[Array, Array, Array, Array]:
    """Return equally likely points (a today, b, sigma, slope)."""
    weeks = -data.age_days / 7
    middle_weeks, middle = float(weeks.mean()), float(data.log_beta.mean())

    # The axes cross in the middle of the holds, where they hardly correlate.
    def today(p: Array) -> Array:
        return np.asarray(p[:, 0] - p[:, 1] * middle - p[:, 3] * middle_weeks)

    def log_density(points: Array) -> Array:
        a, (_, b, log_sigma, slope) = today(points), points.T
        likely = log_likelihood(data, a, b, log_sigma, shift=weeks[:, None] * slope)
        return np.asarray(likely + prior.log_density(a, b, log_sigma) - 0.5 * (slope / SLOPE_SD_PER_WEEK) ** 2)

    start = np.array([float(data.log_T.mean()), prior.b, prior.log_sigma, 0.0])
    mode = find_mode(log_density, start)
    root = np.linalg.cholesky(mode.precision)
    rng = np.random.default_rng(seed)
    normal = rng.standard_normal((DRAWS, 4))
    wide = np.sqrt(rng.chisquare(FREEDOM, DRAWS) / FREEDOM)
    # A Student distribution has heavier tails than the posterior: no region is missed.
    points = mode.at + np.linalg.solve(root.T, (normal / wide[:, None]).T).T
    offsets = (points - mode.at) @ root
    log_bell = -0.5 * (FREEDOM + 4) * np.log1p((offsets**2).sum(axis=1) / FREEDOM)
    _, b, log_sigma, slope = points.T
    a = today(points)
    terms = data.load_terms(b)
    log_p = prior.log_density(a, b, log_sigma) - 0.5 * (slope / SLOPE_SD_PER_WEEK) ** 2
    for row in range(len(data)):
        z = (data.log_T[row] - a - slope * weeks[row] - terms[row]) / np.exp(log_sigma)
        log_p += data.log_likelihood_of(row, z, log_sigma)
    weight = np.exp(log_p - log_bell - (log_p - log_bell).max())
    levels = (np.arange(DRAWS) + 0.5) / DRAWS
    chosen = np.searchsorted(np.cumsum(weight) / weight.sum(), levels).clip(max=DRAWS - 1)
    return a[chosen], b[chosen], np.exp(log_sigma[chosen]), slope[chosen]


def _disproof(a: Array, b: Array, sigma: Array, slope: Array, beta: float, seed: int) -> str:
    """Return a test that the trend can fail: holds two weeks from now at the usual load."""
    rng = np.random.default_rng(seed + 1)
    growth = float(np.median(slope))
    now = a + b * np.log(beta)
    noise = np.median(rng.standard_normal((len(a), TEST_HOLDS)), axis=1) * sigma
    expected = np.exp(np.quantile(now + slope * TEST_WEEKS + noise, [*INTERVAL]))
    unchanged = float(np.exp(np.median(now)))
    holds = f"{TEST_HOLDS} holds to the end at {beta:.0%} of bodyweight, {TEST_WEEKS:.0f} weeks from now"
    if abs(growth) * TEST_WEEKS < 0.03:
        return (
            f"No change is seen. It would be disproved by {holds}, whose middle one lies outside "
            f"{expected[0]:.0f} to {expected[1]:.0f} s."
        )
    side = "shorter" if growth > 0 else "longer"
    edge = expected[0] if growth > 0 else expected[1]
    beyond = min(edge, unchanged) if growth > 0 else max(edge, unchanged)
    return (
        f"The trend expects {expected[0]:.0f} to {expected[1]:.0f} s for the middle one of {holds}; "
        f"today's strength would give {unchanged:.0f} s. It is disproved if that one is {side} than {beyond:.0f} s."
    )
