"""The day on which a trial without help is sensible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from monitor.coaching.endurance.curve import Posterior
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.forecast import INTERVAL, TRIAL_CHANCE, Estimate, TRIAL_s, chance_of_holding
from monitor.coaching.endurance.trend import Trend

HORIZON_DAYS, STEP_DAYS = 120, 5
"""How far ahead, and in which steps, the day of the trial is searched (common practice, no source)."""

LIGHT_ALPHA, LIGHT_WITHIN_DAYS = 0.10, 14.0
"""A trial follows a hold with so little help within so many days (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class TrialDay:
    """When a trial is sensible.

    Attributes
    ----------
    chance_today : Estimate
        Probability of the unassisted time today.
    days : int or None
        Days from today; 0 is today. None: not within ``HORIZON_DAYS``, or not known.
    earliest_days, latest_days : int or None
        Ends of the four-fifths interval; None: beyond the horizon.
    reason : str
        In words, with what is still missing.
    """

    chance_today: Estimate
    days: int | None
    earliest_days: int | None
    latest_days: int | None
    reason: str


def light_help_reached(efforts: Sequence[Effort], seconds: float = TRIAL_s, alpha: float = LIGHT_ALPHA) -> bool:
    """Say whether a recent hold lasted with so little help that a trial follows from it."""
    return any(
        e.duration_s >= seconds and 1 - e.beta_mean <= alpha and e.age_days <= LIGHT_WITHIN_DAYS for e in efforts
    )


def trial_day(
    posterior: Posterior,
    trend: Trend | None,
    *,
    seconds: float = TRIAL_s,
    chance: float = TRIAL_CHANCE,
    light_reached: bool = True,
    light_alpha: float = LIGHT_ALPHA,
) -> TrialDay:
    """Return the first day on which the unassisted time is held with the required probability.

    Parameters
    ----------
    seconds, chance : float
        What the trial asks for, and the probability from which it is sensible.
    light_reached : bool
        Whether very light help was enough lately; until then the reason says so.
    """
    first = "" if light_reached else f" First {seconds:.0f} s with at most {light_alpha:.0%} help."
    gap = np.log(seconds)
    today = chance_of_holding(posterior, seconds)
    if trend is not None:
        # Where strength changes, the weighted mean of four weeks lags behind; the trend knows today better.
        chances = ndtr((trend.a - gap) / trend.sigma)
        low, high = np.quantile(chances, INTERVAL)
        today = Estimate(float(chances.mean()), float(low), float(high))
    if today.value >= chance:
        return TrialDay(today, 0, 0, 0, f"{seconds:.0f} s without help succeed today with {today.value:.0%}.{first}")
    if trend is None:
        reason = f"{today.value:.0%} today. The trend is not known yet: it takes holds over two weeks or more.{first}"
        return TrialDay(today, None, None, None, reason)
    days = _first_day(trend, gap, chance)
    # Each point of the posterior has its own day; their spread is the interval.
    need = gap - trend.a + trend.sigma * ndtri(chance)
    with np.errstate(divide="ignore"):
        own = np.where(need <= 0, 0.0, np.where(trend.slope > 0, 7 * need / trend.slope, np.inf))
    low, high = np.quantile(own, INTERVAL, method="nearest")
    ends = [int(np.ceil(x)) if x <= HORIZON_DAYS else None for x in (low, high)]
    if days is None:
        reason = f"{today.value:.0%} today; at the present trend not within {HORIZON_DAYS} days.{first}"
        return TrialDay(today, None, ends[0], ends[1], reason)
    late = f"{ends[1]}" if ends[1] is not None else f"more than {HORIZON_DAYS}"
    reason = (
        f"{today.value:.0%} today; at the present trend {chance:.0%} in {days} days "
        f"(four fifths of what is believed: {ends[0]} to {late} days).{first}"
    )
    return TrialDay(today, days, ends[0], ends[1], reason)


def _first_day(trend: Trend, gap: float, chance: float) -> int | None:
    """Return the first day on which the mean chance is reached: in steps, then day by day within the step."""

    def reached(days: NDArray[np.int64]) -> NDArray[np.int64]:
        z = (trend.a[:, None] + trend.slope[:, None] * days / 7 - gap) / trend.sigma[:, None]
        return np.asarray(days[ndtr(z).mean(axis=0) >= chance])

    coarse = reached(np.arange(STEP_DAYS, HORIZON_DAYS + 1, STEP_DAYS))
    if not len(coarse):
        return None
    last = int(coarse[0])
    return int(reached(np.arange(last - STEP_DAYS + 1, last + 1))[0])
