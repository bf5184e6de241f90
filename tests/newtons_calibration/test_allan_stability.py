"""Allan deviations against the NBS14 values, and what is read from them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reference_values import values

from monitor.newtons.allan_deviation import allan_curve, judge, overlapping_allan, white_noise_dof

NBS14 = values("allan_nbs14.json")


def test_the_nine_values():
    # NIST SP 1065, pages 107-108, as printed.
    nine = NBS14["ten_point"]
    for m, printed in zip((1, 2), nine["tau_1_2"]["overlapping_ADEV"], strict=True):
        assert overlapping_allan(np.array(nine["frequency"], dtype=float), m) == pytest.approx(printed, abs=5e-6)


def thousand() -> np.ndarray:
    numbers = [1234567890]
    for _ in range(999):
        numbers.append(16807 * numbers[-1] % 2147483647)
    assert numbers[1:4] == NBS14["thousand_point"]["n_1_2_3"]
    return np.array(numbers) / 2147483647


def test_the_thousand_values():
    printed = NBS14["thousand_point"]["tau_1_10_100"]["overlapping_ADEV"]
    for m, wanted in zip((1, 10, 100), printed, strict=True):
        assert overlapping_allan(thousand(), m) == pytest.approx(wanted, rel=5e-7)


def test_large_offsets_cost_no_digits():
    assert overlapping_allan(thousand() + 8_000_000.0, 10) == pytest.approx(overlapping_allan(thousand(), 10), rel=1e-7)


def test_white_noise_has_the_stated_degrees_of_freedom():
    # A variance with nu degrees of freedom has the relative variance 2 / nu (chi-square).
    rng, n = np.random.default_rng(3), 256
    m = np.array([1, 4, 16, 64])
    result = np.array([[overlapping_allan(row, int(k)) ** 2 for k in m] for row in rng.standard_normal((3000, n))])
    dof = 2 * result.mean(axis=0) ** 2 / result.var(axis=0)
    np.testing.assert_allclose(dof, white_noise_dof(n, m), rtol=0.12)
    np.testing.assert_allclose(result.mean(axis=0), 1 / m, rtol=0.05)


def test_white_noise_is_judged_white_and_averages_down():
    rng = np.random.default_rng(4)
    wandering = 0
    for _ in range(200):
        said = judge(allan_curve(7.0 + 2.0 * rng.standard_normal(800), 80.0))
        wandering += said.excess > 0
        assert said.white == pytest.approx(2.0, rel=0.15)
    # Seven octaves at 0.1 % each.
    assert wandering <= 6
    assert said.standard_error(400) == pytest.approx(0.1, rel=0.15)


def test_a_drift_is_detected_and_limits_the_average():
    # A straight drift of d per reading has the Allan deviation d m / sqrt(2) (NIST SP 1065, section 5.2.1 on drift).
    n, d = 1600, 0.01
    drift = d * np.arange(n)
    assert overlapping_allan(drift, 100) == pytest.approx(d * 100 / math.sqrt(2), rel=1e-9)
    said = judge(allan_curve(drift + np.random.default_rng(5).standard_normal(n), 80.0))
    assert said.excess == pytest.approx(d * 512 / math.sqrt(2), rel=0.1)
    assert said.readings_for(0.5 * said.excess) is None
    # Best where white noise and drift are alike: sigma / sqrt(m) = d m / sqrt(2) at m = (sqrt(2) / d)^(2/3) = 27.
    assert 16 / 80 <= said.best_tau_s <= 64 / 80


@pytest.mark.parametrize("unit", [0.01, 1000.0])
def test_a_stability_does_not_depend_on_the_unit(unit):
    n = 1600
    values = 0.002 * np.arange(n) + np.random.default_rng(5).standard_normal(n)
    plain, scaled = judge(allan_curve(values, 80.0)), judge(allan_curve(unit * values, 80.0))
    assert plain.excess > 0
    assert scaled.white == pytest.approx(unit * plain.white, rel=1e-9)
    assert scaled.excess == pytest.approx(unit * plain.excess, rel=1e-9)
    assert scaled.best_tau_s == plain.best_tau_s
    assert scaled.readings_for(2 * unit * plain.excess) == plain.readings_for(2 * plain.excess)


def test_how_many_readings_a_target_needs():
    said = judge(allan_curve(2.0 * np.random.default_rng(6).standard_normal(1000), 80.0))
    needed = said.readings_for(0.05)
    assert needed is not None
    assert said.standard_error(needed) <= 0.05 < said.standard_error(needed - 20)


def test_a_reading_that_does_not_move_at_all_is_no_trouble():
    said = judge(allan_curve(np.full(100, 5.0), 80.0))
    assert (said.white, said.excess) == (0.0, 0.0)


@pytest.mark.parametrize("m", [0, 6])
def test_averages_that_do_not_fit_are_refused(m):
    with pytest.raises(ValueError, match="averages"):
        overlapping_allan(np.arange(10.0), m)


def test_short_records_have_no_curve():
    with pytest.raises(ValueError, match="too few"):
        allan_curve(np.arange(5.0), 80.0)
