"""Pauses that were asked for: days of rest are not missed, items wait, editing a programme keeps its days.

By hand: every expected number is counted from the days that the test lists.
"""

from __future__ import annotations

import datetime as dt

import pytest
from invented import DAY_ns, ns_of

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.errors import BadProgramme
from monitor.coaching.people.day_ledger import DayMinutes, ledger
from monitor.coaching.people.pauses import Pause, paused_on, resting_days, resumed
from monitor.coaching.people.programme import programme_from_dict, template
from monitor.store import open_store

FIRST = dt.date(2026, 5, 1)


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(days=number - 1)


def done(*numbers: int) -> dict[dt.date, DayMinutes]:
    return {day(k): DayMinutes(day(k), 420.0) for k in numbers}


def test_days_of_rest_are_neither_missed_nor_break_a_streak():
    days = done(1, 2, 3, 7, 8)
    rested = ledger(days, day(9), FIRST, 7.0, 30, resting={day(4), day(5), day(6)})
    assert (rested.streak, rested.longest_streak, rested.done_days, rested.missed_days) == (
        5,
        5,
        5,
        0,
    )
    without = ledger(days, day(9), FIRST, 7.0, 30)
    assert (without.streak, without.missed_days) == (2, 3)


def test_minutes_of_a_day_of_rest_count_all_the_same():
    rested = ledger(done(1, 2, 3), day(4), FIRST, 7.0, 30, resting={day(2)})
    assert (rested.streak, rested.done_days, rested.missed_days) == (3, 3, 0)


def test_a_day_of_rest_asks_for_nothing():
    rested = ledger(done(1, 2), day(3), FIRST, 7.0, 30, resting={day(3)})
    assert (rested.minutes_left, rested.streak, rested.missed_days, rested.words) == (
        0.0,
        2,
        0,
        "A day of rest.",
    )
    assert ledger({}, FIRST, FIRST, 7.0, 30, resting={FIRST}).longest_streak == 0


def test_pauses_hold_from_their_first_to_their_last_day():
    pause = Pause("2026-05-03", "2026-05-05", reason="a journey")
    assert [pause.holds_on(day(k)) for k in (2, 3, 5, 6)] == [False, True, True, False]
    assert Pause("2026-05-03").holds_on(day(300))
    assert resting_days([pause, Pause("2026-05-01", item="active")], day(1), day(9)) == {day(3), day(4), day(5)}
    assert paused_on([Pause("2026-05-01", item="active")], day(2), "passive") is None
    assert paused_on([Pause("2026-05-01", item="active")], day(2), "active") is not None


def test_a_resumed_pause_ended_yesterday_or_never_was():
    pauses = (Pause("2026-05-01"), Pause("2026-05-04"), Pause("2026-05-01", item="active"))
    assert resumed(pauses, day(4)) == (Pause("2026-05-01", "2026-05-03"), Pause("2026-05-01", item="active"))


@pytest.mark.parametrize(
    "row",
    [{}, {"first": "soon"}, {"first": "2026-05-02", "last": "2026-05-01"}, {"first": "2026-05-02", "item": "cycling"},
     {"first": "2026-05-02", "until": "x"}, {"first": 5}],
)  # fmt: skip
def test_a_pause_that_cannot_be_leaves_the_programme_as_it_was(row):
    with pytest.raises(BadProgramme):
        programme_from_dict({**template().as_dict(), "pause": [row]})


@pytest.fixture
def coaching(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        now = [ns_of(2026, 5, 4, 10)]
        coaching = CoachingService(store, lambda: now[0])
        coaching.clock = now  # type: ignore[attr-defined]
        yield coaching


def test_a_pause_is_saved_with_the_programme_obeyed_and_ended(coaching):
    uid = coaching.add_person("A. K.", time_zone="Europe/Vienna").uid
    assert coaching.prescribe(uid).next is not None
    coaching.pause(uid, last=dt.date(2026, 5, 10), reason="a cold")
    prescription = coaching.prescribe(uid)
    assert (prescription.next, prescription.next_at_utc_ms) == (None, None)
    assert prescription.reason == "The programme is paused until 2026-05-10: a cold."
    assert all("a cold" in item.paused for item in prescription.items)
    coaching.resume(uid)
    assert coaching.prescribe(uid).next is not None
    coaching.pause(uid, item="active")
    items = {item.key: item.paused for item in coaching.prescribe(uid).items}
    assert items["active"] == "paused until it is resumed"
    assert items["passive"] == ""
    assert programme_from_dict(coaching.programme(uid)[0].as_dict()) == coaching.programme(uid)[0]


def test_editing_a_programme_goes_on_with_its_days_another_one_begins_anew(coaching):
    uid = coaching.add_person("A. K.", time_zone="Europe/Vienna").uid
    coaching.set_programme(uid, template())
    coaching.clock[0] += 5 * DAY_ns
    coaching.pause(uid, item="active")
    assert coaching.days(uid).missed_days == 5
    coaching.set_programme(uid, template("first_hangs"))
    assert coaching.days(uid).missed_days == 0
