"""From a person's endurance to numbers for the next hold: chances, assistance, time left, each with its interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from monitor.coaching.endurance.curve import Posterior
from monitor.signals.scipy_loops import brentq

INTERVAL = (0.1, 0.9)
"""Stated intervals contain four fifths of the posterior."""

LEAST_LOAD, MOST_LOAD = 0.15, 1.0
"""Loads (share of bodyweight) between which damage and help are computed (common practice, no source)."""

TRUSTED_BETA = 0.3
"""Below this load published endurance curves differ by a factor of two (0.15: 456 s measured against 712 and 928 s by
formula, L. Heinzl et al., Scientific Reports 15 (2025) 1250): nothing is prescribed there, and a time for such a
load carries that factor in its interval."""

Z_OF_INTERVAL = 1.2816
"""Standard normal quantile of 0.9: ``INTERVAL`` reaches so many standard deviations to either side."""

LOW_LOAD_SD = float(np.log(2.0)) / Z_OF_INTERVAL
"""Added spread of ln T below ``TRUSTED_BETA``: a factor of two at the ends of the interval."""

MOST_POINTS, TAIL_LEVELS = 1500, 15
"""Points of the posterior, and levels of the remaining capacity for each, in a running hold (common practice, no
source)."""

SPENT = 1e-9
"""Probability of still holding on below which the reserve counts as used up (common practice, no source)."""

TRIAL_CHANCE, TRIAL_s = 0.5, 30.0
"""A trial is this long without help, and sensible from this probability on (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its four-fifths credible interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LeastAssistance:
    """As much help as needed and no more: alpha, and the chance of reaching the target with it.

    ``flag`` is ``none_needed``, ``more_than_can_be_prescribed`` or empty.
    """

    alpha: float
    chance: float
    flag: str = ""


def chance_of_holding(posterior: Posterior, seconds: float, beta: float = 1.0) -> Estimate:
    """Return the probability of holding ``seconds`` at the load ``beta`` today.

    The value is the predictive probability (posterior mean); the interval says how far it rests on few holds.
    """
    chances = _chances(posterior, seconds, beta)
    low, high = posterior.quantiles(chances, INTERVAL)
    return Estimate(posterior.mean(chances), float(low), float(high))


def _chances(posterior: Posterior, seconds: float, beta: float) -> np.ndarray:
    return np.asarray(ndtr((posterior.a + posterior.b * np.log(beta) - np.log(seconds)) / posterior.sigma))


def time_at(posterior: Posterior, beta: float) -> Estimate:
    """Return the time (s) that the person can hold at the load ``beta``: median, and the interval for one hold.

    The interval is that of the predictive distribution, which joins the uncertainty of the curve and the spread from
    hold to hold. Below ``TRUSTED_BETA`` the factor of two between published curves is added to it.
    """
    centre = posterior.a + posterior.b * np.log(beta)
    spread = np.hypot(posterior.sigma, LOW_LOAD_SD if beta < TRUSTED_BETA else 0.0)
    low, high = float((centre - 9 * spread).min()), float((centre + 9 * spread).max())

    def log_time(level: float) -> float:
        def missed(log_T: float) -> float:
            return 1.0 - level - posterior.mean(ndtr((centre - log_T) / spread))

        return brentq(missed, low, high, 1e-5)

    return Estimate(*(float(np.exp(log_time(level))) for level in (0.5, *INTERVAL)))


def least_assistance(posterior: Posterior, target_s: float, chance: float = 0.8) -> LeastAssistance:
    """Return the least assistance with which the target is reached with the wanted probability."""

    def reached(beta: float) -> float:
        return posterior.mean(_chances(posterior, target_s, beta))

    if reached(MOST_LOAD) >= chance:
        return LeastAssistance(0.0, reached(MOST_LOAD), "none_needed")
    if reached(TRUSTED_BETA) < chance:
        return LeastAssistance(1.0 - TRUSTED_BETA, reached(TRUSTED_BETA), "more_than_can_be_prescribed")
    beta = brentq(lambda x: reached(x) - chance, TRUSTED_BETA, MOST_LOAD, 1e-6)
    return LeastAssistance(1.0 - beta, reached(beta))


@dataclass(frozen=True, slots=True)
class Reserve:
    """During a hold: share of the reserve used (1: spent), and time left at the present load (s)."""

    used: Estimate
    left_s: Estimate


class RunningReserve:
    """Running damage of a hold in progress: ``push`` the load once a second, call ``now`` at any time.

    The damage done is the integral of ``beta**-b``; the person lets go when it reaches ``exp(a + sigma eps)``. That
    they still hold on is evidence, too: points of the posterior that would have let go by now drop out.
    """

    def __init__(self, posterior: Posterior) -> None:
        likeliest = np.argsort(posterior.weight)[::-1][:MOST_POINTS]
        self._a, self._b, self._sigma = posterior.a[likeliest], posterior.b[likeliest], posterior.sigma[likeliest]
        self._weight = posterior.weight[likeliest] / posterior.weight[likeliest].sum()
        self._damage = np.zeros(len(likeliest))
        self._beta = 1.0

    def push(self, beta: float, seconds: float) -> None:
        """Add a stretch at a load; a load of 0 or less (feet carry all) does no damage."""
        self._beta = max(beta, LEAST_LOAD)
        if beta > 0:
            self._damage += seconds * self._beta**-self._b

    def now(self) -> Reserve:
        """Return the reserve used and the time left at the latest load."""
        with np.errstate(divide="ignore"):
            surviving = ndtr((self._a - np.log(self._damage)) / self._sigma)
        weight = self._weight * surviving
        if weight.sum() < SPENT:
            # Held longer than the model thinks possible: it has nothing left to say.
            return Reserve(Estimate(1.0, 1.0, 1.0), Estimate(0.0, 0.0, 0.0))
        levels = (np.arange(TAIL_LEVELS) + 0.5) / TAIL_LEVELS
        z = -ndtri(np.maximum(surviving[:, None] * levels, np.finfo(float).tiny))
        capacity = np.exp(self._a[:, None] + self._sigma[:, None] * z)
        damage = np.minimum(self._damage[:, None], capacity)
        weights = np.repeat(weight[:, None] / weight.sum() / TAIL_LEVELS, TAIL_LEVELS, axis=1)
        used = _weighted(damage / capacity, weights)
        left = _weighted((capacity - damage) * self._beta ** self._b[:, None], weights)
        return Reserve(used, left)


def _weighted(values: np.ndarray, weights: np.ndarray) -> Estimate:
    flat, w = values.ravel(), weights.ravel()
    order = np.argsort(flat)
    cumulative = np.cumsum(w[order]) - 0.5 * w[order]
    low, middle, high = np.interp([INTERVAL[0], 0.5, INTERVAL[1]], cumulative, flat[order])
    return Estimate(float(middle), float(low), float(high))
