"""The trend and the trial's day: found again in invented people, honest about what they do not know."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.trend import SLOPE_SD_PER_WEEK, fit_trend
from monitor.coaching.prescribing.trial import light_help_reached, trial_day


def weeks_of_holds(seed: int, slope: float, weeks: int = 6, a_today: float = 3.2, each: int = 3, sigma: float = 0.15):
    """Return holds of an invented person whose strength changes by ``slope`` (of ln T) a week."""
    rng = np.random.default_rng([3, seed])
    efforts = []
    for week in range(weeks):
        for _ in range(each):
            beta = float(rng.uniform(0.6, 0.9))
            log_T = a_today - slope * week - 1.6 * np.log(beta) + sigma * rng.standard_normal()
            efforts.append(Effort(float(np.exp(log_T)), (beta,), "exhausted", 7.0 * week))
    return efforts


def test_the_slope_is_that_of_least_squares():
    """Reference: ordinary least squares (numpy) with the exponent free; the prior pulls by its known weight.

    The prior of the slope (sd 0.1) against the data's own variance shrinks it by s2 / (s2 + 0.01).
    """
    efforts = weeks_of_holds(1, 0.08, each=8)
    columns = np.column_stack(
        [np.ones(len(efforts)), [-b.age_days / 7 for b in efforts], [np.log(b.beta_mean) for b in efforts]]
    )
    log_T = np.log([b.duration_s for b in efforts])
    best, squares, _, _ = np.linalg.lstsq(columns, log_T, rcond=None)
    variance = squares[0] / (len(efforts) - 3) * np.linalg.inv(columns.T @ columns)[1, 1]
    expected = best[1] * SLOPE_SD_PER_WEEK**2 / (SLOPE_SD_PER_WEEK**2 + variance)
    result = fit_trend(efforts)
    assert np.median(result.slope) == pytest.approx(expected, abs=0.1 * np.sqrt(variance))
    assert np.std(result.slope) == pytest.approx(np.sqrt(variance), rel=0.12)
    assert result.per_week.value == pytest.approx(np.expm1(np.median(result.slope)), abs=1e-3)


def test_four_fifths_of_invented_people_have_their_true_trend_in_the_interval():
    rng = np.random.default_rng(8)
    inside = 0
    for seed in range(40):
        slope = float(0.1 * rng.standard_normal())
        result = fit_trend(weeks_of_holds(seed, slope))
        inside += result.per_week.low <= np.expm1(slope) <= result.per_week.high
    # Binomial: 32 expected, standard deviation 2.5; three of them to either side.
    assert 24 <= inside <= 39


def test_a_gain_comes_with_its_disproof():
    result = fit_trend(weeks_of_holds(2, 0.10))
    assert result.chance_of_gain > 0.99
    assert result.per_week.low > 0.04
    assert "It is disproved if that one is shorter than" in result.disproof
    steady = fit_trend(weeks_of_holds(3, 0.0, each=12))
    assert "lies outside" in steady.disproof or abs(steady.per_week.value) > 0.015
    assert 0.01 < steady.chance_of_gain < 0.99


def test_a_loss_is_reported_as_one():
    result = fit_trend(weeks_of_holds(2, -0.10))
    assert result.chance_of_gain < 0.01
    assert "longer than" in result.disproof


@pytest.mark.parametrize("efforts", [[], weeks_of_holds(1, 0.1, weeks=1), weeks_of_holds(1, 0.1, weeks=2, each=2)])
def test_too_little_is_no_trend(efforts):
    assert fit_trend(efforts) is None


def test_the_trial_comes_when_the_trend_carries_the_strength_there():
    """By hand: 24.5 s at full bodyweight today and 10 % a week reach 30 s after ln(30 / 24.5) / 0.1 = 2.0 weeks."""
    efforts = weeks_of_holds(5, 0.10, weeks=8, each=8, sigma=0.08)
    day = trial_day(fit_endurance(efforts), fit_trend(efforts))
    assert day.days == pytest.approx(7 * np.log(30 / np.exp(3.2)) / 0.1, abs=4)
    assert day.earliest_days <= day.days <= day.latest_days
    assert f"in {day.days} days" in day.reason


def test_a_trial_may_be_sensible_today_never_or_unknown():
    strong = fit_endurance([Effort(60.0, (0.95,), "exhausted")] * 4)
    assert trial_day(strong, None).days == 0
    first = trial_day(strong, None, light_reached=False)
    assert "First 30 s with at most 10%" in first.reason
    weak = fit_endurance([Effort(20.0, (0.5,), "exhausted")] * 4)
    assert trial_day(weak, None).days is None
    assert "not known yet" in trial_day(weak, None).reason
    falling = weeks_of_holds(2, -0.15, a_today=2.5)
    day = trial_day(fit_endurance(falling), fit_trend(falling))
    assert (day.days, day.latest_days) == (None, None)
    assert "not within" in day.reason


def test_light_help_means_recent_long_and_little():
    assert light_help_reached([Effort(31.0, (0.92,), "target", 3.0)])
    assert not light_help_reached([Effort(31.0, (0.92,), "target", 30.0)])
    assert not light_help_reached([Effort(29.0, (0.92,), "target")])
    assert not light_help_reached([Effort(31.0, (0.88,), "target")])
