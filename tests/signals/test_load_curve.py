"""Zeros come off a curve as they came off in its sessions."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.rig import rig_from_columns
from monitor.signals.load_curve import ZeroCourse, without_zeros

BAR = rig_from_columns(["bar_left", "bar_right"])
FULL = rig_from_columns(["bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr"])
T_s = np.arange(0.0, 10.0, 0.5)


def zeros(begin_s: float, end_s: float, *cells_N: float) -> ZeroCourse:
    t_s = np.arange(begin_s, end_s, 0.5)
    return ZeroCourse(t_s, np.tile(cells_N, (len(t_s), 1)))


def test_each_cell_loses_its_own_zero_and_beyond_the_session_the_nearest_one():
    curve = without_zeros(
        BAR, T_s, np.full((len(T_s), 2), 5.0), [zeros(2.0, 4.0, 1.0, -2.0), zeros(6.0, 8.0, 3.0, 0.0)]
    )
    by_hand = {0.0: (4.0, 7.0), 3.0: (4.0, 7.0), 6.5: (2.0, 5.0), 9.5: (2.0, 5.0)}
    for at_s, load_N in by_hand.items():
        assert curve.load_N[T_s == at_s][0] == pytest.approx(load_N)
    assert curve.bar_N[0] == pytest.approx(11.0)


def test_a_session_that_begins_in_the_one_before_counts_from_its_end_on():
    curve = without_zeros(BAR, T_s, np.zeros((len(T_s), 2)), [zeros(0.0, 6.0, 1.0, 1.0), zeros(4.0, 10.0, 2.0, 2.0)])
    assert curve.load_N[T_s < 6.0] == pytest.approx(-1.0)
    assert curve.load_N[T_s >= 6.0] == pytest.approx(-2.0)


def test_a_curve_without_a_session_is_as_calibrated_and_failed_readings_remain():
    load_N = np.full((len(T_s), 6), 1.0)
    load_N[3, 4] = np.nan
    curve = without_zeros(FULL, T_s, load_N, [])
    np.testing.assert_array_equal(curve.load_N, load_N)
    assert np.isnan(curve.feet_N[3])
    assert curve.bar_N == pytest.approx(2.0)
    assert without_zeros(BAR, T_s, load_N[:, :2], []).feet_N is None


def test_a_part_of_a_curve_keeps_its_rig_and_leaves_its_ends_out():
    part = without_zeros(BAR, T_s, np.zeros((len(T_s), 2)), []).between(2.0, 4.0)
    assert (part.rig, part.t_s.tolist(), part.load_N.shape) == (BAR, [2.5, 3.0, 3.5], (3, 2))
