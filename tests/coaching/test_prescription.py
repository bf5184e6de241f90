"""From a known curve the numbers follow in closed form; from a posterior they keep their promises."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from monitor.coaching.endurance.curve import Posterior, fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.forecast import (
    RunningReserve,
    chance_of_holding,
    least_assistance,
    time_at,
)


def known(b0_s: float, b: float, sigma: float) -> Posterior:
    """Return a person of whom everything is known."""
    one = np.ones(1)
    return Posterior(np.log(b0_s) * one, b * one, sigma * one, one, (np.log(b0_s), b, np.log(sigma)), 9, 9, 0.4)


def test_chance_and_time_of_a_known_curve(endurance_models):
    """Median times are the published ones (Frey Law and Avin 2010, hand/grip); the spread is the log-normal's."""
    seconds = endurance_models["frey_law_avin_2010"]["computed_seconds"]["hand_grip"]
    person = known(33.55, -1.61, 0.2)
    for beta in ("0.5", "0.8", "1.0"):
        assert chance_of_holding(person, seconds[beta], float(beta)).value == pytest.approx(0.5, abs=1e-3)
        time = time_at(person, float(beta))
        assert time.value == pytest.approx(seconds[beta], rel=1e-3)
        assert (time.low, time.high) == pytest.approx(
            [seconds[beta] * np.exp(0.2 * ndtri(q)) for q in (0.1, 0.9)], rel=1e-3
        )


def test_least_assistance_of_a_known_curve():
    """Ln t = a + b ln beta - 0.8416 sigma, solved for beta by hand; 0.8416 is the normal quantile of 0.8."""
    person = known(20.0, -1.5, 0.2)
    beta = (30.0 / (20.0 * np.exp(-0.8416 * 0.2))) ** (1 / -1.5)
    result = least_assistance(person, 30.0, 0.8)
    assert result.alpha == pytest.approx(1 - beta, abs=1e-4)
    assert (result.chance, result.flag) == (pytest.approx(0.8, abs=1e-4), "")


def test_least_assistance_at_its_ends():
    assert least_assistance(known(90.0, -1.6, 0.1), 30.0).flag == "none_needed"
    assert least_assistance(known(90.0, -1.6, 0.1), 30.0).alpha == 0.0
    weak = least_assistance(known(2.0, -1.6, 0.1), 30.0)
    assert (weak.flag, weak.alpha) == ("more_than_can_be_prescribed", pytest.approx(0.7))
    assert weak.chance < 0.8


def test_more_holds_make_a_narrower_chance():
    few = fit_endurance([Effort(40.0, (0.7,), "exhausted")] * 2)
    many = fit_endurance([Effort(40.0, (0.7,), "exhausted")] * 20)
    widths = [np.ptp([c.low, c.high]) for c in (chance_of_holding(p, 30.0) for p in (few, many))]
    assert widths[1] < 0.7 * widths[0]


def test_running_reserve_of_a_known_person():
    """Linear damage by hand: T(0.8) = 20 * 0.8**-1.5 = 27.95 s; 10 s of it are 35.8 %, the rest of 20 s is at 1."""
    person = known(20.0, -1.5, 0.005)
    reserve = RunningReserve(person)
    for _ in range(10):
        reserve.push(0.8, 1.0)
    now = reserve.now()
    assert now.used.value == pytest.approx(10 / 27.951, rel=0.01)
    assert now.left_s.value == pytest.approx(17.951, rel=0.01)
    reserve.push(1.0, 1.0)
    now = reserve.now()
    assert now.used.value == pytest.approx(10 / 27.951 + 1 / 20, rel=0.01)
    assert now.left_s.value == pytest.approx(20 * (1 - now.used.value), rel=0.01)


def test_who_still_hangs_is_taken_to_be_strong():
    """At the median time half of all such holds are over: those that are not have some seconds left, and say so."""
    reserve = RunningReserve(known(30.0, -1.6, 0.25))
    for _ in range(30):
        reserve.push(1.0, 1.0)
    now = reserve.now()
    # Truncated log-normal beyond its median: the median of what is left is at the quantile 0.75 of all.
    assert now.left_s.value == pytest.approx(30 * np.exp(0.25 * ndtri(0.75)) - 30, abs=1e-6)
    assert now.left_s.low < now.left_s.value < now.left_s.high
    assert now.used.value < 1


def test_a_load_on_the_feet_does_no_damage_and_a_reserve_can_be_spent():
    reserve = RunningReserve(known(10.0, -1.6, 0.05))
    reserve.push(0.0, 60.0)
    assert reserve.now().used.value == 0.0
    reserve.push(1.0, 600.0)
    assert (reserve.now().used.value, reserve.now().left_s.value) == (1.0, 0.0)
