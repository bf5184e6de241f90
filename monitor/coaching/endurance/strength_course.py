"""A person's strength day by day: the estimate on each day, and where the trend leads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
from scipy.special import ndtr

from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.forecast import INTERVAL, Estimate, TRIAL_s, chance_of_holding, time_at
from monitor.coaching.endurance.trend import Trend
from monitor.coaching.local_time import local_day

MOST_DAYS = 40
"""More days are thinned out evenly, as each needs a fit of its own; common practice, no source."""

AHEAD_DAYS, AHEAD_STEP_DAYS = 60, 3
"""How far, and in which steps, the trend is continued; common practice, no source."""

MOST_CACHED = 4000
"""Days whose estimates are cached, about a hundred people's; common practice, no source."""

_CACHE: dict[int, tuple[Estimate, Estimate]] = {}

_DAY_ns = 86_400 * 10**9


@dataclass(frozen=True, slots=True)
class StrengthPoint:
    """The estimate of one day.

    Attributes
    ----------
    day : str
        ISO 8601 date on the person's calendar.
    holds : int
        How many it rests on; for a day to come: how many the trend rests on.
    chance : Estimate
        Probability of the trial's seconds without help.
    time_s : Estimate
        Time at full bodyweight; median and four-fifths interval.
    """

    day: str
    holds: int
    chance: Estimate
    time_s: Estimate


def strength_course(
    efforts: Sequence[Effort], now_utc_ns: int, zone: ZoneInfo, seconds: float = TRIAL_s
) -> list[StrengthPoint]:
    """Return the estimate at the end of each day with a hold, from the holds so far, oldest day first.

    No point contains later holds: it is the estimate that was possible then.
    """
    days = sorted({_day(effort, now_utc_ns, zone) for effort in efforts})
    if len(days) > MOST_DAYS:
        days = [days[round(k)] for k in np.linspace(0, len(days) - 1, MOST_DAYS)]
    points = []
    for day in days:
        last_age = min(e.age_days for e in efforts if _day(e, now_utc_ns, zone) == day)
        # Ages as they were at the end of that day's last hold.
        known = [replace(e, age_days=e.age_days - last_age) for e in efforts if e.age_days >= last_age]
        chance, time_s = _estimates(known, seconds)
        points.append(StrengthPoint(day.isoformat(), len(known), chance, time_s))
    return points


def _estimates(known: Sequence[Effort], seconds: float) -> tuple[Estimate, Estimate]:
    """Return chance and time at full bodyweight; cached, since past days do not change."""
    # Ages are counted back from now and differ by rounding from call to call; 1e-4 of a day does not change the fit.
    key = hash((seconds, *((e.duration_s, e.betas, e.ending, round(e.age_days, 4)) for e in known)))
    estimates = _CACHE.get(key)
    if estimates is None:
        posterior = fit_endurance(known)
        estimates = chance_of_holding(posterior, seconds), time_at(posterior, 1.0)
        if len(_CACHE) >= MOST_CACHED:
            _CACHE.clear()
        _CACHE[key] = estimates
    return estimates


def strength_ahead(trend: Trend | None, today: dt.date, seconds: float = TRIAL_s) -> list[StrengthPoint]:
    """Return where the trend leads from today on if it continues; empty without a trend."""
    if trend is None:
        return []
    points = []
    for ahead in range(0, AHEAD_DAYS + 1, AHEAD_STEP_DAYS):
        log_T = trend.a + trend.slope * ahead / 7
        chances = ndtr((log_T - np.log(seconds)) / trend.sigma)
        low, high = np.quantile(chances, INTERVAL)
        times = np.exp(np.quantile(log_T, [INTERVAL[0], 0.5, INTERVAL[1]]))
        points.append(
            StrengthPoint(
                (today + dt.timedelta(days=ahead)).isoformat(),
                trend.holds,
                Estimate(float(chances.mean()), float(low), float(high)),
                Estimate(float(times[1]), float(times[0]), float(times[2])),
            )
        )
    return points


def _day(effort: Effort, now_utc_ns: int, zone: ZoneInfo) -> dt.date:
    return local_day(now_utc_ns - round(effort.age_days * _DAY_ns), zone)
