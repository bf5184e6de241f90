"""A person's progress: sums, courses over time, bests that respect their uncertainty, periods compared."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from monitor.coaching.local_time import local_day
from monitor.coaching.people.day_ledger import DayMinutes, minutes_by_day
from monitor.coaching.progress.alternating import AlternatingHang, alternating_hang
from monitor.coaching.progress.comparison import Comparison, compare_periods
from monitor.records.person_entries import ManualHang, PainEntry
from monitor.records.stored_hold import StoredHold

BEYOND = 1.645
"""One-sided normal quantile of 95 %: a best is ahead by so many standard uncertainties of the difference."""


@dataclass(frozen=True, slots=True)
class Best:
    """A personal best and its standard uncertainty; ``ties`` counts later holds that do not differ from it."""

    hold_uid: str
    day: str
    value: float
    u: float
    ties: int = 0


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """One hold in the courses over time; None: not known."""

    hold_uid: str
    at_utc_ms: int
    kind: str | None
    support: str | None
    duration_s: float
    u_s: float
    clean_s: float | None
    beta: float | None
    alpha: float | None
    u_alpha: float | None
    swing_deg: float | None
    lateral_m: float | None
    travel_mm: float | None
    dose_bw_s: float | None


@dataclass(frozen=True, slots=True)
class DaySum:
    """One day on the person's calendar."""

    day: str
    rig_min: float
    by_hand_min: float
    dose_bw_s: float


@dataclass(frozen=True, slots=True)
class PainPoint:
    """One entry of pain."""

    at_utc_ms: int
    pain: int
    place: str | None


@dataclass(frozen=True, slots=True)
class Progress:
    """A person's progress in a period.

    Attributes
    ----------
    holds : int
    by_hand : int
        Hangs entered by hand; only minutes count them.
    clean_s : float
        Time within the allowed assistance, where it is known.
    dose_bw_s : float
        Bodyweight-seconds.
    longest_passive, longest_active : Best or None
        Unassisted holds only.
    least_assistance : Best or None
        Smallest mean assistance over at least 30 s.
    longest_alternating : AlternatingHang or None
    points, days, pain : list
        Courses over time.
    """

    holds: int
    by_hand: int
    clean_s: float
    dose_bw_s: float
    longest_passive: Best | None
    longest_active: Best | None
    least_assistance: Best | None
    longest_alternating: AlternatingHang | None
    points: list[HoldPoint]
    days: list[DaySum]
    pain: list[PainPoint]

    def as_dict(self) -> dict[str, Any]:
        """Return the progress as plain data."""
        return asdict(self)


def progress(
    holds: Sequence[StoredHold], by_hand: Sequence[ManualHang], pains: Sequence[PainEntry], zone: ZoneInfo
) -> Progress:
    """Return a person's progress from their holds (corrected, oldest first), hangs by hand and entries of pain."""
    points = [hold_point(h) for h in holds]
    own = [h for h in holds if h.result.is_of_one_body]
    free = [h for h in own if h.result.support == "unassisted"]
    long_enough = [h for h in own if h.result.duration_s >= 30.0 and h.result.alpha_mean is not None]
    turns = [alternating_hang(h.result) for h in own if h.result.grip_changes_s]
    return Progress(
        holds=len(holds),
        by_hand=len(by_hand),
        clean_s=math.fsum(h.result.clean_s or 0.0 for h in holds),
        dose_bw_s=math.fsum(h.result.dose_bw_s or 0.0 for h in holds),
        longest_passive=best([h for h in free if h.result.kind == "passive"], _duration, zone),
        longest_active=best([h for h in free if h.result.kind == "active"], _duration, zone),
        least_assistance=best(long_enough, _assistance, zone, smallest=True),
        longest_alternating=max(turns, key=lambda t: t.total_s, default=None),
        points=points,
        days=_days(holds, minutes_by_day(holds, by_hand, zone), zone),
        pain=[PainPoint(e.at_utc_ns // 1_000_000, e.pain, e.place) for e in pains],
    )


def hold_point(hold: StoredHold) -> HoldPoint:
    """Return a hold as a point of the courses over time."""
    result = hold.result
    risen = max((t.travel_mm for t in result.travel), default=None)
    return HoldPoint(
        hold_uid=hold.uid,
        at_utc_ms=hold.onset_utc_ns // 1_000_000,
        kind=result.kind,
        support=result.support,
        duration_s=result.duration_s,
        u_s=result.duration_u_s,
        clean_s=result.clean_s,
        beta=result.beta_mean,
        alpha=result.alpha_mean,
        u_alpha=result.alpha_u,
        swing_deg=None if result.swing is None else result.swing.rms_deg,
        lateral_m=result.lateral_m,
        travel_mm=risen,
        dose_bw_s=result.dose_bw_s,
    )


def _duration(hold: StoredHold) -> tuple[float, float]:
    return hold.result.duration_s, hold.result.duration_u_s


def _assistance(hold: StoredHold) -> tuple[float, float]:
    return hold.result.alpha_mean or 0.0, hold.result.alpha_u or 0.0


def best(
    holds: Sequence[StoredHold],
    measure: Callable[[StoredHold], tuple[float, float]],
    zone: ZoneInfo,
    *,
    smallest: bool = False,
) -> Best | None:
    """Return the best of holds, oldest first: a later hold takes its place only beyond both uncertainties.

    Two values differ when their difference exceeds ``BEYOND`` times its standard uncertainty (JCGM 100, 5.1.2: the
    variances of independent values add). ``ties`` counts the later holds that do not differ from the best.
    """
    sign = -1.0 if smallest else 1.0
    leader: tuple[StoredHold, float, float] | None = None
    ties = 0
    for hold in holds:
        value, u = measure(hold)
        if leader is None:
            leader = hold, value, u
            continue
        ahead = sign * (value - leader[1])
        certain = BEYOND * math.hypot(u, leader[2])
        if ahead > certain:
            leader, ties = (hold, value, u), 0
        elif ahead >= -certain:
            ties += 1
    if leader is None:
        return None
    return Best(leader[0].uid, local_day(leader[0].onset_utc_ns, zone).isoformat(), leader[1], leader[2], ties)


def _days(holds: Sequence[StoredHold], minutes: dict[dt.date, DayMinutes], zone: ZoneInfo) -> list[DaySum]:
    dose: dict[dt.date, float] = {}
    for hold in holds:
        day = local_day(hold.onset_utc_ns, zone)
        dose[day] = dose.get(day, 0.0) + (hold.result.dose_bw_s or 0.0)
    return [
        DaySum(day.isoformat(), one.rig_s / 60, one.by_hand_s / 60, dose.get(day, 0.0)) for day, one in minutes.items()
    ]


MEASURES: dict[str, tuple[str, Callable[[HoldPoint], float | None]]] = {
    "duration": ("s", lambda p: p.duration_s),
    "clean time": ("s", lambda p: p.clean_s),
    "assistance": ("of bodyweight", lambda p: p.alpha),
    "swing": ("degrees", lambda p: p.swing_deg),
    "side": ("m", lambda p: p.lateral_m),
    "travel": ("mm", lambda p: p.travel_mm),
    "dose": ("bodyweight-seconds", lambda p: p.dose_bw_s),
}
"""What two periods are compared in: unit, and the value of a hold."""


def compared(before: Sequence[StoredHold], after: Sequence[StoredHold]) -> dict[str, Comparison]:
    """Return every measure of two periods compared; values that are not known are left out."""
    pairs = ([hold_point(h) for h in before], [hold_point(h) for h in after])
    comparisons = {}
    for name, (unit, of) in MEASURES.items():
        values = [np.array([v for p in points if (v := of(p)) is not None], dtype=float) for points in pairs]
        comparisons[name] = compare_periods(values[0].tolist(), values[1].tolist(), unit)
    return comparisons
