"""What the endurance model needs to know of a hold: how long, at which load, and why it ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr

Ending = Literal["exhausted", "target", "other", "unsure"]
"""``exhausted``: the person let go because they could not hold on. ``target``: it was reached. ``other``: anything
else, a phone or a pain; like a reached target it says only that the person could have held at least so long.
``unsure``: short of its target for an unknown reason: exhaustion, the coach's "enough", a pain, a slip."""

OTHER_PER_s = 1 / 300
"""Rate at which holds of unknown ending end for another reason than exhaustion, per second: one in ten holds of 30 s
(common practice, no source)."""

LEAST_BETA = 0.05
"""Smaller loads count as this one: the power law has no bound there (common practice, no source)."""

KNOTS = 129
"""Exponents between which the load term is interpolated; see ``Efforts.load_terms``."""

QUANTILES = 20
"""Values to which a load course is reduced (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Effort:
    """One hold as a datum of endurance.

    Attributes
    ----------
    duration_s : float
    betas : tuple of float
        Effective bodyweight fraction through the hold: one value, or evenly spread quantiles of its course.
    ending : Ending
    age_days : float
        How long ago, for the weight of recent holds; 0 is now.
    """

    duration_s: float
    betas: tuple[float, ...]
    ending: Ending
    age_days: float = 0.0

    def __post_init__(self) -> None:
        if not (self.duration_s > 0 and self.betas and min(self.betas) > 0):
            raise ValueError("An effort needs a duration and loads above 0.")

    @property
    def beta_mean(self) -> float:
        """Return the mean load."""
        return float(np.mean(self.betas))


def effort_from_course(duration_s: float, beta_course: ArrayLike, ending: Ending, age_days: float = 0.0) -> Effort:
    """Return an effort whose load course (n,) is reduced to its quantiles: damage does not depend on their order."""
    course = np.clip(np.asarray(beta_course, dtype=float), LEAST_BETA, None)
    levels = (np.arange(QUANTILES) + 0.5) / QUANTILES
    return Effort(duration_s, tuple(float(x) for x in np.quantile(course, levels)), ending, age_days)


def log_equivalent(betas: ArrayLike, exponents: ArrayLike) -> NDArray[np.float64]:
    """Return ``-ln mean(beta**-b)`` for every exponent b (m,): the hold's load term in ``ln T = a + b ln beta``.

    Linear damage (A. Palmgren 1924, M. A. Miner 1945, citations from memory): each second uses up ``1 / T(beta)``.
    For a steady load the term is ``b ln beta``.
    """
    loads = np.log(np.asarray(betas, dtype=float))[:, None]
    b = np.asarray(exponents, dtype=float)[None, :]
    return np.asarray(-np.log(np.mean(np.exp(-b * loads), axis=0)))


@dataclass(frozen=True, slots=True)
class Efforts:
    """Efforts as arrays, weightiest first.

    Attributes
    ----------
    log_T : (n,) float, ln of seconds
    exhausted, unsure : (n,) bool
    weight : (n,) float
    age_days : (n,) float
    log_betas : (n, q) float
        ln of the loads of each effort's course; a steady load fills every column.
    """

    log_T: NDArray[np.float64]
    exhausted: NDArray[np.bool_]
    unsure: NDArray[np.bool_]
    weight: NDArray[np.float64]
    age_days: NDArray[np.float64]
    log_betas: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.log_T)

    def load_terms(self, exponents: ArrayLike) -> NDArray[np.float64]:
        """Return (n, m) load terms for the exponents (m,); see ``log_equivalent``.

        Many exponents are interpolated between ``KNOTS`` of them: the term is smooth, its second derivative is the
        variance of the log loads within a hold, so that linear interpolation is off by less than 1e-4.
        """
        b = np.asarray(exponents, dtype=float)
        if len(b) > 2 * KNOTS and len(self):
            knots = np.linspace(b.min(), b.max(), KNOTS)
            place = (b - knots[0]) / max(knots[1] - knots[0], 1e-12)
            left = np.minimum(place.astype(int), KNOTS - 2)
            terms = self.load_terms(knots)
            return np.asarray(terms[:, left] + (place - left) * (terms[:, left + 1] - terms[:, left]))
        # A sum, since NumPy's mean costs more than averaging so few numbers.
        damage = np.exp(-b[None, :, None] * self.log_betas[:, None, :]).sum(axis=2)
        return np.asarray(np.log(self.log_betas.shape[1]) - np.log(damage))

    def log_likelihood_of(
        self, alike: int | NDArray[np.bool_], z: NDArray[np.float64], log_sigma: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Return the log-likelihood at the standardized log times ``z``, up to a constant, of one effort or of several.

        ``alike`` is the index of one, or a mask (n,) of several that ended alike; ``z`` has a row for each.

        The density where it ended by exhaustion, its upper tail where it did not. Where the ending is unknown, two
        risks compete: exhaustion at T, or another ending at a constant rate for everybody:
        ``f(T) + OTHER_PER_s * S(T)``. A hold far shorter than expected thereby counts as broken off, one near the
        expectation as held to exhaustion.
        """
        if np.all(self.exhausted[alike]):
            return np.asarray(-0.5 * z**2 - log_sigma)
        tail = log_ndtr(-z)
        if not np.any(self.unsure[alike]):
            return tail
        density = -0.5 * z**2 - log_sigma
        rate = self.log_T[alike, None] + np.log(OTHER_PER_s) + 0.5 * np.log(2 * np.pi)
        return np.asarray(np.logaddexp(density, rate + tail))

    @property
    def log_beta(self) -> NDArray[np.float64]:
        """Return (n,) the logs of the mean loads."""
        return np.asarray(np.log(np.mean(np.exp(self.log_betas), axis=1)))


def as_arrays(efforts: Sequence[Effort], memory_days: float = np.inf, most: int | None = None) -> Efforts:
    """Return efforts as arrays: weight ``exp(-age / memory_days)``, at most ``most`` of the weightiest."""
    newest = sorted(efforts, key=lambda e: e.age_days)[:most]
    age_days = np.array([max(0.0, b.age_days) for b in newest], dtype=float)
    levels = max((len(b.betas) for b in newest), default=1)
    log_betas = np.empty((len(newest), levels))
    for row, effort in enumerate(newest):
        # A course of fewer values is spread over the columns: quantiles of quantiles.
        log_betas[row] = np.log(np.asarray(effort.betas)[np.arange(levels) * len(effort.betas) // levels])
    return Efforts(
        log_T=np.log(np.array([b.duration_s for b in newest], dtype=float)),
        exhausted=np.array([b.ending == "exhausted" for b in newest], dtype=bool),
        unsure=np.array([b.ending == "unsure" for b in newest], dtype=bool),
        weight=np.exp(-age_days / memory_days),
        age_days=age_days,
        log_betas=log_betas,
    )
