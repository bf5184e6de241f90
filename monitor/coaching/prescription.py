"""From a person's endurance to numbers for the next hold: chances, assistance, time left, each with its interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.coaching.endurance import Posterior

INTERVAL = (0.1, 0.9)
"""Stated intervals hold four fifths of the posterior."""

LEAST_LOAD, MOST_LOAD = 0.15, 1.0
TRUSTED_BETA = 0.3
"""Below this load published endurance curves differ by a factor of two (0.15: 456 s measured against 712 and 928 s by
formula, L. Heinzl et al., Scientific Reports 15 (2025) 1250): nothing is prescribed there, and a time told for such a
load carries that factor in its interval."""

Z_OF_INTERVAL = 1.2816
"""Standard normal quantile of 0.9: ``INTERVAL`` reaches so many standard deviations to either side."""

LOW_LOAD_SD = float(np.log(2.0)) / Z_OF_INTERVAL

TRIAL_CHANCE = 0.5
TRIAL_s = 30.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with the interval that holds four fifths of what is believed of it."""

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


def _upper_tail(z: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr

    return np.asarray(ndtr(-z))


def chance_of_holding(posterior: Posterior, seconds: float, beta: float = 1.0) -> Estimate:
    """Return the probability of holding ``seconds`` at the load ``beta`` today.

    The value is the predictive probability (posterior mean); the interval says how far it rests on few holds.
    """
    z = (np.log(seconds) - posterior.a - posterior.b * np.log(beta)) / posterior.sigma
    chances = _upper_tail(z)
    low, high = posterior.quantiles(chances, INTERVAL)
    return Estimate(posterior.mean(chances), float(low), float(high))


def time_at(posterior: Posterior, beta: float) -> Estimate:
    """Return the time (s) that the person can hold at the load ``beta``: median, and the interval for one hold.

    Below ``TRUSTED_BETA`` the factor of two between published curves is added to the interval.
    """
    centre = posterior.a + posterior.b * np.log(beta)
    spread = np.hypot(posterior.sigma, LOW_LOAD_SD if beta < TRUSTED_BETA else 0.0)
    # The predictive distribution: the posterior's spread and the hold-to-hold spread together.
    levels = (np.arange(41) + 0.5) / 41
    from scipy.special import ndtri

    values = (centre[:, None] + spread[:, None] * ndtri(levels)[None, :]).ravel()
    weights = np.repeat(posterior.weight, len(levels)) / len(levels)
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order])
    low, middle, high = np.exp(np.interp([INTERVAL[0], 0.5, INTERVAL[1]], cumulative, values[order]))
    return Estimate(float(middle), float(low), float(high))


def least_assistance(posterior: Posterior, target_s: float, chance: float = 0.8) -> LeastAssistance:
    """Return the least assistance with which the target is reached with the wanted probability."""

    def reached(beta: float) -> float:
        return chance_of_holding(posterior, target_s, beta).value

    if reached(MOST_LOAD) >= chance:
        return LeastAssistance(0.0, reached(MOST_LOAD), "none_needed")
    if reached(TRUSTED_BETA) < chance:
        return LeastAssistance(1.0 - TRUSTED_BETA, reached(TRUSTED_BETA), "more_than_can_be_prescribed")
    low, high = TRUSTED_BETA, MOST_LOAD
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reached(middle) >= chance else (low, middle)
    return LeastAssistance(1.0 - low, reached(low))


@dataclass(frozen=True, slots=True)
class Reserve:
    """During a hold: share of the reserve used (1: spent), and time left at the present load (s)."""

    used: Estimate
    left_s: Estimate


class RunningReserve:
    """Running damage of a hold in progress: ``push`` the load once a second, ask ``now`` at any time.

    The damage done is the integral of ``beta**-b``; the person lets go when it reaches ``exp(a + sigma eps)``. That
    they still hold on is evidence, too: what would have let go by now is taken out.
    """

    def __init__(self, posterior: Posterior) -> None:
        from scipy.special import ndtri

        kept = np.argsort(posterior.weight)[::-1][:1500]
        weight = posterior.weight[kept] / posterior.weight[kept].sum()
        levels = (np.arange(25) + 0.5) / 25
        self._b = posterior.b[kept]
        self._log_capacity = posterior.a[kept][:, None] + posterior.sigma[kept][:, None] * ndtri(levels)[None, :]
        self._weight = np.repeat(weight[:, None], len(levels), axis=1) / len(levels)
        self._damage = np.zeros(len(kept))
        self._beta = 1.0

    def push(self, beta: float, seconds: float) -> None:
        """Add a stretch at a load; a load of 0 or less (feet carry all) does no damage."""
        self._beta = max(beta, LEAST_LOAD)
        if beta > 0:
            self._damage += seconds * self._beta**-self._b

    def now(self) -> Reserve:
        """Return the reserve used and the time left at the latest load."""
        capacity = np.exp(self._log_capacity)
        alive = np.where(capacity > self._damage[:, None], self._weight, 0.0)
        total = alive.sum()
        if total < 1e-9:
            # Held longer than anything believed possible: the model has nothing left to say.
            return Reserve(Estimate(1.0, 1.0, 1.0), Estimate(0.0, 0.0, 0.0))
        used = self._damage[:, None] / capacity
        left = (capacity - self._damage[:, None]) * self._beta ** self._b[:, None]
        return Reserve(_weighted(used, alive / total), _weighted(left, alive / total))


def _weighted(values: np.ndarray, weights: np.ndarray) -> Estimate:
    flat, w = values.ravel(), weights.ravel()
    order = np.argsort(flat)
    cumulative = np.cumsum(w[order])
    low, middle, high = np.interp([INTERVAL[0], 0.5, INTERVAL[1]], cumulative, flat[order])
    return Estimate(float(middle), float(low), float(high))
