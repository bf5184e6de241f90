"""Days are the person's own, also where clocks change.

The changes of clocks are those of the European Union: forward at 1:00 UTC on the last Sunday of March, back on the
last Sunday of October (Directive 2000/84/EC, from memory): 2026-03-29 and 2026-10-25.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from invented import VIENNA, hold_at, ns_of

from monitor.coaching.local_time import day_bounds_ns, local_day
from monitor.coaching.people.day_ledger import DayMinutes, ledger, minutes_by_day
from monitor.records.person_entries import ManualHang

HOUR_ns = 3600 * 10**9


@pytest.mark.parametrize(
    ("day", "hours"),
    [((2026, 3, 28), 24), ((2026, 3, 29), 23), ((2026, 10, 25), 25), ((2026, 10, 26), 24)],
)
def test_a_day_has_23_to_25_hours(day, hours):
    start_ns, end_ns = day_bounds_ns(dt.date(*day), VIENNA)
    assert end_ns - start_ns == hours * HOUR_ns
    assert local_day(start_ns, VIENNA) == local_day(end_ns - 1, VIENNA) == dt.date(*day)
    assert local_day(end_ns, VIENNA) == dt.date(*day) + dt.timedelta(days=1)


def test_both_hours_that_carry_the_same_name_belong_to_the_day():
    holds = [hold_at(ns_of(2026, 10, 25, 2, 30, fold=fold), 60.0, number=fold) for fold in (0, 1)]
    assert holds[1].onset_utc_ns - holds[0].onset_utc_ns == HOUR_ns
    assert minutes_by_day(holds, [], VIENNA) == {dt.date(2026, 10, 25): DayMinutes(dt.date(2026, 10, 25), 120.0)}


def test_a_zone_whose_change_is_at_midnight_has_a_first_instant():
    """Beirut sets its clocks forward at 0:00: the day begins at 1:00 (IANA time zone data)."""
    beirut = ZoneInfo("Asia/Beirut")
    start_ns, end_ns = day_bounds_ns(dt.date(2026, 3, 29), beirut)
    assert end_ns - start_ns == 23 * HOUR_ns
    assert local_day(start_ns, beirut) == dt.date(2026, 3, 29)
    assert local_day(start_ns - 1, beirut) == dt.date(2026, 3, 28)


def test_a_hold_across_midnight_gives_each_day_its_part():
    hold = hold_at(ns_of(2026, 5, 1, 23, 59, 30), 50.0)
    days = minutes_by_day([hold], [ManualHang(1, "p", ns_of(2026, 5, 2, 9), 70.0)], VIENNA)
    assert days[dt.date(2026, 5, 1)] == DayMinutes(dt.date(2026, 5, 1), 30.0, 0.0)
    assert days[dt.date(2026, 5, 2)] == DayMinutes(dt.date(2026, 5, 2), 20.0, 70.0)
    assert days[dt.date(2026, 5, 2)].minutes == pytest.approx(1.5)


def test_the_same_instant_is_another_day_elsewhere():
    instant = ns_of(2026, 5, 1, 23, 30)
    assert local_day(instant, VIENNA) == dt.date(2026, 5, 1)
    assert local_day(instant, ZoneInfo("Asia/Tokyo")) == dt.date(2026, 5, 2)
    assert local_day(instant, ZoneInfo("America/Los_Angeles")) == dt.date(2026, 5, 1)


def days_of(minutes: list[float], last: dt.date) -> tuple[dict[dt.date, DayMinutes], dt.date]:
    first = last - dt.timedelta(days=len(minutes) - 1)
    span = [first + dt.timedelta(days=k) for k in range(len(minutes))]
    return {day: DayMinutes(day, 60 * m) for day, m in zip(span, minutes, strict=True)}, first


@pytest.mark.parametrize(
    ("minutes", "streak", "longest", "done", "missed", "words"),
    [
        ([7, 7, 7], 3, 3, 3, 0, "3 days in a row"),
        ([7, 7, 2], 2, 2, 2, 0, "2 days in a row so far"),
        ([7, 7, 0, 7], 1, 2, 3, 1, "Today is done."),
        ([7, 7, 0, 2], 0, 2, 2, 1, "Yesterday was a day of rest"),
        ([7, 0, 0, 0, 0], 0, 1, 1, 3, "A pause of 3 days costs little"),
        ([0], 0, 0, 0, 0, "A first day"),
        ([1, 1, 1], 0, 0, 0, 2, "any length counts"),
        ([6.999], 1, 1, 1, 0, "Today is done"),
    ],
)
def test_the_ledger_mentions_streak_and_missed_days_kindly(minutes, streak, longest, done, missed, words):
    today = dt.date(2026, 3, 30)
    days, first = days_of(minutes, today)
    result = ledger(days, today, first, 7.0, 30)
    assert (result.streak, result.longest_streak) == (streak, longest)
    assert (result.done_days, result.missed_days) == (done, missed)
    assert words in result.words
    assert result.minutes_left == pytest.approx(max(0.0, 7 - minutes[-1]) if minutes[-1] < 6.99 else 0.0)
