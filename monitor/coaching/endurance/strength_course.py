"""A person's strength day by day: what their holds told on each day, and where the trend leads."""

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
"""More days are thinned out evenly: each takes a fit of its own."""

AHEAD_DAYS = 60
AHEAD_STEP_DAYS = 3

MOST_KEPT = 4000
_KEPT: dict[int, tuple[Estimate, Estimate]] = {}

_DAY_ns = 86_400 * 10**9


@dataclass(frozen=True, slots=True)
class StrengthPoint:
    """What is believed on one day.

    Attributes
    ----------
    day : str
        ISO 8601 date on the person's calendar.
    holds : int
        How many it rests on; of a day to come: how many the trend rests on.
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
    """Return what the holds up to the end of each day with a hold told that day, oldest first.

    Nothing of later days is in a point: it is what would have been said then.
    """
    ages = sorted({_day(effort, now_utc_ns, zone) for effort in efforts})
    if len(ages) > MOST_DAYS:
        ages = [ages[round(k)] for k in np.linspace(0, len(ages) - 1, MOST_DAYS)]
    found = []
    for day in ages:
        last_age = min(b.age_days for b in efforts if _day(b, now_utc_ns, zone) == day)
        # Ages as they were at the end of that day's last hold.
        known = [replace(b, age_days=b.age_days - last_age) for b in efforts if b.age_days >= last_age]
        chance, time_s = _told(known, seconds)
        found.append(StrengthPoint(day.isoformat(), len(known), chance, time_s))
    return found


def _told(known: Sequence[Effort], seconds: float) -> tuple[Estimate, Estimate]:
    """Return chance and time at full bodyweight; what is past stays, so that it is reckoned once."""
    # Ages are told from a clock that has moved on since: a hundred-thousandth of a day is none to the fit.
    key = hash((seconds, *((b.duration_s, b.betas, b.ending, round(b.age_days, 4)) for b in known)))
    told = _KEPT.get(key)
    if told is None:
        posterior = fit_endurance(known)
        told = chance_of_holding(posterior, seconds), time_at(posterior, 1.0)
        if len(_KEPT) >= MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = told
    return told


def strength_ahead(trend: Trend | None, today: dt.date, seconds: float = TRIAL_s) -> list[StrengthPoint]:
    """Return where the trend leads if it goes on, from today; empty without a trend."""
    if trend is None:
        return []
    found = []
    for ahead in range(0, AHEAD_DAYS + 1, AHEAD_STEP_DAYS):
        log_T = trend.a + trend.slope * ahead / 7
        chances = ndtr((log_T - np.log(seconds)) / trend.sigma)
        low, high = np.quantile(chances, INTERVAL)
        times = np.exp(np.quantile(log_T, [INTERVAL[0], 0.5, INTERVAL[1]]))
        found.append(
            StrengthPoint(
                (today + dt.timedelta(days=ahead)).isoformat(),
                trend.holds,
                Estimate(float(chances.mean()), float(low), float(high)),
                Estimate(float(times[1]), float(times[0]), float(times[2])),
            )
        )
    return found


def _day(effort: Effort, now_utc_ns: int, zone: ZoneInfo) -> dt.date:
    return local_day(now_utc_ns - round(effort.age_days * _DAY_ns), zone)
