"""Strength day by day: a past day holds only what was known then, and the days ahead follow the trend."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented import VIENNA, ns_of

from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.forecast import chance_of_holding
from monitor.coaching.endurance.strength_course import MOST_DAYS, strength_ahead, strength_course
from monitor.coaching.endurance.trend import fit_trend

NOW = ns_of(2026, 6, 1, 20)


def efforts(days: int, growth_per_week: float = 0.08) -> list[Effort]:
    """Three holds a day at 80 % of bodyweight, ever longer."""
    rng = np.random.default_rng(5)
    return [
        Effort(
            float(30 * np.exp(-growth_per_week * age / 7 + 0.15 * rng.standard_normal())), (0.8,), "exhausted", age + k
        )
        for age in range(days)
        for k in (0.0, 0.01, 0.02)
    ]


@pytest.fixture(scope="module")
def month():
    return efforts(28)


def test_a_past_day_is_what_would_have_been_said_then(month):
    course = strength_course(month, NOW, VIENNA)
    assert [p.day for p in course] == [(dt.date(2026, 5, 5) + dt.timedelta(days=k)).isoformat() for k in range(28)]
    tenth = course[9]
    assert tenth.holds == 30
    age = 28 - 10
    known = [replace(b, age_days=b.age_days - age) for b in month if b.age_days >= age]
    assert tenth.chance == chance_of_holding(fit_endurance(known), 30.0)
    assert course[-1].time_s.value > course[4].time_s.value


def test_the_days_ahead_follow_the_trend(month):
    trend = fit_trend(month)
    ahead = strength_ahead(trend, dt.date(2026, 6, 1))
    assert (ahead[0].day, ahead[-1].day) == ("2026-06-01", "2026-07-31")
    # ln T grows by the slope a week: the medians are a straight line, up to the draws' asymmetry.
    weeks = (dt.date.fromisoformat(ahead[10].day) - dt.date.fromisoformat(ahead[0].day)).days / 7
    growth = np.log(ahead[10].time_s.value / ahead[0].time_s.value) / weeks
    assert growth == pytest.approx(np.median(trend.slope), abs=0.01)
    assert [p.chance.value for p in ahead] == sorted(p.chance.value for p in ahead)
    assert all(p.chance.low <= p.chance.value <= p.chance.high for p in ahead)


def test_few_holds_tell_no_days_ahead_and_nobody_has_no_course():
    few = efforts(1)
    assert strength_ahead(fit_trend(few), dt.date(2026, 6, 1)) == []
    assert strength_course([], NOW, VIENNA) == []


def test_years_are_thinned_out_evenly_with_both_ends():
    course = strength_course([b for b in efforts(400) if b.age_days == int(b.age_days)], NOW, VIENNA)
    assert len(course) == MOST_DAYS
    assert course[-1].day == "2026-06-01"
    assert course[0].day == (dt.date(2026, 6, 1) - dt.timedelta(days=399)).isoformat()


def test_past_days_are_computed_once(month, monkeypatch):
    course = strength_course(month, NOW, VIENNA)

    def again(_efforts):
        raise AssertionError("a day was computed twice")

    monkeypatch.setattr("monitor.coaching.endurance.strength_course.fit_endurance", again)
    assert strength_course(month, NOW, VIENNA) == course
    later = [replace(b, age_days=b.age_days + 1 / 24) for b in month]
    assert strength_course(later, NOW + 3600 * 10**9, VIENNA) == course, "an hour later, too"
    with pytest.raises(AssertionError, match="twice"):
        strength_course([*month, Effort(50.0, (0.8,), "exhausted", 0.0)], NOW, VIENNA)
