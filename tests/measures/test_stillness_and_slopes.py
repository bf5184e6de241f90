"""Stillness and slopes on loads whose answer is known by construction; a straight line's slope by hand."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.slopes import slope_per_min, slopes_of
from monitor.measures.stillness import stillness_of

RATE_Hz, W = 80.0, 700.0
T_s = np.arange(0, 40, 1 / RATE_Hz)
QUIET = np.full(len(T_s), W) + np.random.default_rng(3).normal(0, 0.7, len(T_s))
NO_FEET = np.zeros(len(T_s), dtype=bool)


def test_a_quiet_body_is_still_all_the_time():
    still = stillness_of(T_s, QUIET, W, RATE_Hz, lateral_m=np.zeros(len(T_s)), swing=[], feet=NO_FEET)
    assert still is not None
    assert still.share == 1.0


def test_what_breaks_the_stillness_is_named_and_the_shares_add_up_to_one():
    sum_N = QUIET + np.where((T_s > 10) & (T_s < 14), 30.0 * np.sin(2 * np.pi * 3 * T_s), 0.0)
    lateral = np.where((T_s > 20) & (T_s < 22), 0.05, 0.0)
    swing = [(float(t), 3.0 if 30 <= t < 33 else 0.2, 0.1) for t in np.arange(0.5, 40, 1.0)]
    feet = (T_s > 36.1) & (T_s < 36.4)
    still = stillness_of(T_s, sum_N, W, RATE_Hz, lateral_m=lateral, swing=swing, feet=feet)
    assert still is not None
    assert still.load == pytest.approx(4 / 40)
    assert still.lateral == pytest.approx(2 / 40)
    assert still.swing == pytest.approx(3 / 40, abs=1.01 / 40)
    assert still.feet == pytest.approx(1 / 40)
    assert still.share + still.load + still.lateral + still.swing + still.feet == pytest.approx(1.0)


def test_too_short_to_say():
    part = T_s < 2
    assert stillness_of(T_s[part], QUIET[part], W, RATE_Hz, lateral_m=None, swing=[], feet=NO_FEET[part]) is None
    assert slopes_of(T_s[part], QUIET[part], None, None, W, RATE_Hz) is None


def test_a_slope_by_hand():
    """Through (0, 1), (60, 2), (120, 3), (180, 6) s: slope 1.6 a minute.

    Mean time 1.5 min, sum (t - mean)^2 = 5, sum (t - mean) y = -1.5 - 1 + 1.5 + 9 = 8, slope 1.6; residuals 0.4, -0.2,
    -0.8, 0.6: sum of squares 1.2, standard error sqrt(1.2 / 2 / 5) = 0.34641.
    """
    slope = slope_per_min(np.array([0.0, 60.0, 120.0, 180.0]), np.array([1.0, 2.0, 3.0, 6.0]))
    assert slope is not None
    assert slope.per_min == pytest.approx(1.6)
    assert slope.u == pytest.approx(0.346410, rel=1e-5)


def test_growing_feet_are_a_slope_of_the_assistance():
    feet = W * (0.08 + 0.003 * T_s)
    slopes = slopes_of(T_s, QUIET, feet, None, W, RATE_Hz)
    assert slopes is not None
    assert slopes.assistance is not None
    assert slopes.assistance.per_min == pytest.approx(0.18, rel=1e-6)
    assert slopes.lateral_m is None
