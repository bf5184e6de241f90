"""A person's days: minutes between their own midnights, a streak, missed days mentioned kindly."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from monitor.coaching.local_time import day_bounds_ns, local_day
from monitor.records.person_entries import ManualHang
from monitor.records.stored_hold import StoredHold

ENOUGH = 0.999
"""A day counts as done from this share of its minutes on, so that rounding costs nobody a day."""


@dataclass(frozen=True, slots=True)
class DayMinutes:
    """One day: seconds on the rig and seconds entered by hand."""

    day: dt.date
    rig_s: float = 0.0
    by_hand_s: float = 0.0

    @property
    def minutes(self) -> float:
        """Return both together, in minutes."""
        return (self.rig_s + self.by_hand_s) / 60


def minutes_by_day(
    holds: Iterable[StoredHold], by_hand: Iterable[ManualHang], zone: ZoneInfo
) -> dict[dt.date, DayMinutes]:
    """Return the days on which somebody hung. A hold across midnight gives each day its part."""
    return minutes_of_spans(((hold.onset_utc_ns, hold.result.duration_s) for hold in holds), by_hand, zone)


def minutes_of_spans(
    spans: Iterable[tuple[int, float]], by_hand: Iterable[ManualHang], zone: ZoneInfo
) -> dict[dt.date, DayMinutes]:
    """Return the days on which somebody hung, from the onsets (UTC, ns) and durations (s) of holds."""
    rig: dict[dt.date, int] = {}
    hand: dict[dt.date, int] = {}
    for onset_utc_ns, duration_s in spans:
        _spread(rig, onset_utc_ns, duration_s, zone)
    for hang in by_hand:
        _spread(hand, hang.at_utc_ns, hang.duration_s, zone)
    return {day: DayMinutes(day, rig.get(day, 0) / 1e9, hand.get(day, 0) / 1e9) for day in sorted({*rig, *hand})}


def _spread(days_ns: dict[dt.date, int], start_ns: int, duration_s: float, zone: ZoneInfo) -> None:
    end_ns = start_ns + round(duration_s * 1e9)
    while start_ns < end_ns:
        day = local_day(start_ns, zone)
        stop_ns = min(end_ns, day_bounds_ns(day, zone)[1])
        days_ns[day] = days_ns.get(day, 0) + stop_ns - start_ns
        start_ns = stop_ns


@dataclass(frozen=True, slots=True)
class DayLedger:
    """How the programme's days went.

    Attributes
    ----------
    today : DayMinutes
    minutes_left : float
        Of today's; 0 when they are done.
    streak : int
        Days in a row with their minutes done, up to today, or up to yesterday while today goes on.
    longest_streak : int
    done_days, missed_days : int
        Since the programme's first day, today not counted as missed.
    of_days : int
        How many the programme asks for.
    words : str
        The same, kindly.
    """

    today: DayMinutes
    minutes_left: float
    streak: int
    longest_streak: int
    done_days: int
    missed_days: int
    of_days: int
    words: str


def ledger(
    days: dict[dt.date, DayMinutes],
    today: dt.date,
    first: dt.date,
    minutes: float,
    of_days: int,
    resting: Collection[dt.date] = (),
) -> DayLedger:
    """Return how the days from ``first`` to ``today`` went against so many minutes each.

    Days of a pause (``resting``) are neither missed nor break a streak; minutes of such a day count all the same.
    """
    now = days.get(today, DayMinutes(today))
    every = [first + dt.timedelta(days=k) for k in range(max(0, (today - first).days) + 1)]
    span = [day for day in every if day not in resting or day in days or day == today]
    done = [day in days and days[day].minutes >= minutes * ENOUGH for day in span]
    if today in resting and not done[-1]:
        return _rest(now, [d for d, day in zip(done, span, strict=True) if day not in resting or d], of_days)
    runs = _runs(done)
    # Today is not over: it can lengthen a streak, never break one.
    streak = runs[-1] if done[-1] else (runs[-2] if len(runs) > 1 else 0)
    missed = done[:-1].count(False)
    left = max(0.0, minutes - now.minutes)
    return DayLedger(
        today=now,
        minutes_left=0.0 if done[-1] else left,
        streak=streak,
        longest_streak=max(runs),
        done_days=done.count(True),
        missed_days=missed,
        of_days=of_days,
        words=_words(done, streak, left),
    )


def _rest(now: DayMinutes, done: list[bool], of_days: int) -> DayLedger:
    """Return the ledger of a day of rest."""
    runs = _runs(done) or [0]
    return DayLedger(now, 0.0, runs[-1], max(runs), done.count(True), done.count(False), of_days, "A day of rest.")


def _runs(done: Sequence[bool]) -> list[int]:
    """Return, for every day, how many days in a row are done up to it."""
    runs, run = [], 0
    for one in done:
        run = run + 1 if one else 0
        runs.append(run)
    return runs


def _words(done: Sequence[bool], streak: int, left_min: float) -> str:
    if done[-1]:
        return f"Today is done; {streak} day{'s' if streak != 1 else ''} in a row." if streak > 1 else "Today is done."
    today = f"{_minutes(left_min)} left today"
    if streak:
        return f"{today}; {streak} day{'s' if streak != 1 else ''} in a row so far."
    missed = len(done) - 1 - max((k + 1 for k, one in enumerate(done[:-1]) if one), default=0)
    if missed == 0:
        return f"{today}. A first day."
    if missed == 1:
        return f"{today}. Yesterday was a day of rest; go on where you are."
    if any(done):
        return f"{today}. A pause of {missed} days costs little: start with what feels easy."
    return f"{today}. The first full day is still to come; any length counts."


def _minutes(value: float) -> str:
    return f"{value * 60:.0f} s" if value < 1 else f"{value:.1f} min"
