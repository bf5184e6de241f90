"""Progress: sums by hand, bests beyond their uncertainty, periods compared as scipy compares them."""

from __future__ import annotations

import json

import numpy as np
import pytest
from invented import VIENNA, DAY_ns, hold_at, ns_of
from scipy import stats

from monitor.coaching.endurance.hold_efforts import efforts_of, ending_of
from monitor.coaching.progress.alternating import alternating_hang
from monitor.coaching.progress.comparison import compare_periods
from monitor.coaching.progress.progress import best, compared, progress
from monitor.records.hold_result import HoldResult, Swing, Touch, Travel
from monitor.records.person_entries import ManualHang, PainEntry

START = ns_of(2026, 5, 1, 10)


def duration(hold):
    return hold.result.duration_s, hold.result.duration_u_s


def test_two_periods_are_compared_as_welch_does():
    """Reference: scipy.stats.ttest_ind with unequal variances, its confidence interval."""
    rng = np.random.default_rng(1)
    before, after = rng.normal(30, 4, 12), rng.normal(34, 9, 17)
    actual = compare_periods(before.tolist(), after.tolist(), "s")
    reference = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.95)
    assert (actual.low, actual.high) == pytest.approx((reference.low, reference.high), rel=1e-9)
    assert actual.difference == pytest.approx(after.mean() - before.mean())


def test_the_interval_holds_the_true_difference_as_often_as_it_claims():
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(1000):
        actual = compare_periods(rng.normal(0, 1, 6).tolist(), rng.normal(1, 3, 9).tolist())
        inside += actual.low <= 1.0 <= actual.high
    # Binomial with 0.95: standard deviation 6.9; Welch's interval is itself an approximation.
    assert 925 <= inside <= 975


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [([], [1.0], "holds nothing"), ([1.0, 2.0], [3.0, 4.0, 5.0], "too few"), ([2.0] * 3, [3.0] * 3, "no spread")],
)
def test_too_little_is_said_to_be_so(before, after, words):
    actual = compare_periods(before, after)
    assert actual.low is None
    assert words in actual.words


def test_a_best_is_one_only_beyond_its_uncertainty():
    """By hand: both known to 0.5 s, so a lead must exceed 1.645 * 0.7071 = 1.163 s."""
    holds = [hold_at(START + k * DAY_ns, s, duration_u_s=0.5) for k, s in enumerate([30.0, 31.1, 31.2, 29.0, 31.9])]
    assert best(holds[:2], duration, VIENNA).value == 30.0
    assert best(holds[:2], duration, VIENNA).ties == 1
    assert best(holds[:3], duration, VIENNA).value == 31.2
    actual = best(holds, duration, VIENNA)
    assert (actual.value, actual.day, actual.ties) == (31.2, "2026-05-03", 1)
    assert best([], duration, VIENNA) is None


def test_the_sums_are_those_of_the_holds():
    holds = [
        hold_at(START, 40.0, kind="passive"),
        hold_at(START + 10**12, 50.0, kind="active", swing=Swing(2.0, 1.0, 0.4), travel=[Travel(12, 13, 35.0, 2.0)]),
        hold_at(START + DAY_ns, 60.0, alpha=0.25, kind="passive", lateral_m=0.01, clean_s=None),
    ]
    hang = ManualHang(1, "p", START + DAY_ns, 120.0)
    actual = progress(holds, [hang], [PainEntry(1, "p", START, 2, "wrist")], VIENNA)
    assert (actual.holds, actual.by_hand, actual.clean_s) == (3, 1, 90.0)
    assert actual.dose_bw_s == pytest.approx(40 + 50 + 45)
    assert (actual.longest_passive.value, actual.longest_active.value) == (40.0, 50.0), "help makes no best"
    assert actual.least_assistance.value == 0.0
    assert [(d.day, d.rig_min, d.by_hand_min) for d in actual.days] == [
        ("2026-05-01", pytest.approx(1.5), 0.0), ("2026-05-02", pytest.approx(1.0), pytest.approx(2.0))
    ]  # fmt: skip
    assert (actual.points[1].swing_deg, actual.points[1].travel_mm) == (1.0, 35.0)
    assert actual.pain[0].pain == 2
    assert json.dumps(actual.as_dict(), allow_nan=False)


def test_every_measure_of_two_periods_is_compared():
    before = [hold_at(START + k, 30.0 + k) for k in range(4)]
    after = [hold_at(START + DAY_ns + k, 40.0 + k) for k in range(4)]
    actual = compared(before, after)
    assert actual["duration"].difference == pytest.approx(10.0)
    assert actual["duration"].words.endswith("a change.")
    assert actual["swing"].words == "One of the periods holds nothing."


def test_an_alternating_hang_by_hand():
    result = HoldResult(10.0, 130.0, 120.0, 0.01, grip_changes_s=[40.0, 95.0], alpha_p95=0.001, alpha_direct=True)
    actual = alternating_hang(result)
    assert (actual.total_s, actual.changes, actual.longest_one_hand_s, actual.feet_never_down) == (120.0, 2, 55.0, True)
    touched = alternating_hang(HoldResult(10.0, 130.0, 120.0, 0.01, touches=[Touch(20, 21, 0.2)]))
    assert (touched.feet_never_down, touched.longest_one_hand_s, touched.changes) == (False, None, 0)
    one_cell = alternating_hang(HoldResult(0.0, 9.0, 9.0, 0.01, flags=["hands_not_told_apart"]))
    assert (one_cell.changes, one_cell.feet_never_down) == (None, None)


@pytest.mark.parametrize(
    ("fields", "ending"),
    [
        ({}, "other"), ({"target_s": 30.0}, "target"), ({"target_s": 45.0}, "unsure"),
        ({"target_s": 45.0, "ending": "other"}, "other"), ({"ending": "exhausted"}, "exhausted"),
        ({"target_s": 30.5}, "target"),
    ],
)  # fmt: skip
def test_why_a_hold_ended(fields, ending):
    assert ending_of(hold_at(START, 30.0, **fields)) == ending


def test_the_course_of_a_load_keeps_its_mean_and_spread():
    hold = hold_at(START, 30.0, alpha=0.2, alpha_p95=0.2 + 1.645 * 0.05)
    (effort,) = efforts_of([hold], START + 3 * DAY_ns)
    assert effort.beta_mean == pytest.approx(0.8)
    assert np.std(effort.betas) == pytest.approx(0.05, rel=1e-3)
    assert effort.age_days == pytest.approx(3.0)


def test_holds_without_information_on_endurance_are_left_out():
    holds = [
        hold_at(START, 2.0), hold_at(START, 30.0, alpha=None), hold_at(START, 30.0, flags=["interrupted"]),
        hold_at(START, 31.0, kind="active"), hold_at(START, 32.0, kind=None), hold_at(START, 33.0, kind="mixed"),
    ]  # fmt: skip
    assert [b.duration_s for b in efforts_of(holds, START)] == [31.0, 32.0, 33.0]
    assert [b.duration_s for b in efforts_of(holds, START, "passive")] == [32.0, 33.0]
