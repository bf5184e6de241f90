"""Why a hold ended, where nobody said: two risks compete, and a slip does not look like weakness.

Source of the check of the formula: the law of total probability. Under two competing risks a hold ends by one of them,
so their densities together integrate to one (D. R. Cox, Journal of the Royal Statistical Society B 21 (1959) 411-421,
from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from invented import DAY_ns, hold_at, ns_of
from scipy.integrate import quad

from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort, OTHER_PER_s, as_arrays
from monitor.coaching.endurance.forecast import time_at
from monitor.coaching.endurance.hold_efforts import COVERED, UNKNOWN_SD, efforts_of

NOW = ns_of(2026, 5, 20, 18)


@pytest.mark.parametrize(("a", "sigma"), [(math.log(20), 0.2), (math.log(90), 0.4)])
def test_both_risks_together_are_certain(a, sigma):
    def density(T_s: float) -> float:
        data = as_arrays([Effort(T_s, (1.0,), "unsure")])
        z = np.array([(math.log(T_s) - a) / sigma])
        log_p = float(data.log_likelihood_of(0, z, math.log(sigma))[0])
        # What the likelihood leaves out: the normal's constant, dT for d ln T, no other ending before.
        return math.exp(log_p - OTHER_PER_s * T_s) / math.sqrt(2 * math.pi) / T_s

    whole, _ = quad(density, 1e-6, math.exp(a + 8 * sigma), limit=200, points=[math.exp(a)])
    assert whole == pytest.approx(1.0, abs=1e-4)


KNOWN = [Effort(t_s, (0.8,), "exhausted", float(k)) for k, t_s in enumerate((38.0, 44.0, 41.0, 36.0, 47.0, 40.0))]


def middle(*more: Effort) -> float:
    return time_at(fit_endurance([*KNOWN, *more]), 0.8).value


def test_a_slip_hardly_moves_what_is_believed():
    alone = middle()
    assert middle(Effort(6.0, (0.8,), "exhausted")) < 0.85 * alone, "the case must matter"
    assert middle(Effort(6.0, (0.8,), "unsure")) == pytest.approx(alone, rel=0.01)


def test_a_hold_near_what_is_believed_counts_like_one_that_was_held_to_the_end():
    exhausted, unsure = (middle(*[Effort(35.0, (0.8,), ending)] * 4) for ending in ("exhausted", "unsure"))
    assert unsure == pytest.approx(exhausted, rel=0.02)
    assert unsure < middle(*[Effort(35.0, (0.8,), "other")] * 4)


def test_nothing_but_unsure_holds_still_tell_of_strength():
    result = fit_endurance([Effort(t_s, (0.8,), "unsure") for t_s in (38.0, 44.0, 41.0, 36.0, 47.0, 40.0)])
    assert (result.exhausted, result.unsure) == (0, 6)
    time = time_at(result, 0.8)
    assert time.low < 41.0 < time.high
    assert time.value == pytest.approx(middle(), rel=0.05)


def course_of(alphas) -> list[tuple[float, float | None, float | None]]:
    return [(10.5 + k, alpha, 0.01) for k, alpha in enumerate(alphas)]


def test_the_course_of_the_load_is_taken_second_by_second():
    """By hand: help of 0 and of 0.4, half the time each, mean 0.2; the loads are 1.0 and 0.6 around the mean."""
    hold = hold_at(NOW - DAY_ns, 40.0, alpha=0.2, assistance_course=course_of([0.0] * 20 + [0.4] * 20))
    (effort,) = efforts_of([hold], NOW)
    assert sorted({round(b, 9) for b in effort.betas}) == [0.6, 1.0]
    assert effort.beta_mean == pytest.approx(0.8)
    equal = np.log(np.mean([1.0, 0.6**1.61]))
    assert -as_arrays([effort]).load_terms([-1.61])[0, 0] == pytest.approx(equal)


def test_seconds_that_were_not_read_are_left_out_and_too_many_of_them_leave_the_mean():
    some = hold_at(NOW - DAY_ns, 40.0, alpha=0.2, assistance_course=course_of([0.2, None] + [0.2] * 38))
    (effort,) = efforts_of([some], NOW)
    assert set(np.round(effort.betas, 9)) == {0.8}
    many = round((1 - COVERED) * 40) + 1
    few = hold_at(NOW - DAY_ns, 40.0, alpha=0.2, assistance_course=course_of([None] * many + [0.2] * (40 - many)))
    (effort,) = efforts_of([few], NOW)
    assert np.std(effort.betas) == pytest.approx(UNKNOWN_SD, rel=1e-3), "the mean, with a spread that says so"
    assert effort.beta_mean == pytest.approx(0.8)


def test_load_terms_of_very_many_exponents_are_those_of_each():
    rng = np.random.default_rng(3)
    data = as_arrays([Effort(30.0, tuple(rng.uniform(0.3, 1.05, 20)), "exhausted") for _ in range(5)])
    exponents = rng.uniform(-3.0, -0.5, 400)
    each = np.array([-np.log(np.mean(np.exp(-b * data.log_betas), axis=1)) for b in exponents]).T
    assert np.abs(data.load_terms(exponents) - each).max() < 1e-4
    assert data.load_terms(exponents[:9]) == pytest.approx(each[:, :9], abs=1e-12)


def test_a_hold_with_somebody_elses_load_says_nothing_of_endurance():
    own, shared = (hold_at(NOW - DAY_ns, 40.0, alpha=0.2, flags=flags) for flags in ([], ["surplus_load"]))
    assert len(efforts_of([own], NOW)) == 1
    assert efforts_of([shared], NOW) == []
