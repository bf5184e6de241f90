"""Short contacts of a foot, and changes of hands."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.holds.grip_changes import grip_changes_s
from monitor.holds.touches import foot_contacts

W = 700.0
RATE_Hz = 80.0


def feet(*touches: tuple[float, float, float], noise_N: float = 0.7) -> tuple[np.ndarray, np.ndarray]:
    """Return times and a platform load with rectangular touches (start s, end s, share of W)."""
    t_s = np.arange(0, 20, 1 / RATE_Hz)
    load_N = noise_N * np.random.default_rng(8).standard_normal(len(t_s))
    for start_s, end_s, share in touches:
        load_N += W * share * ((t_s >= start_s) & (t_s < end_s))
    return t_s, load_N


def test_a_touch_is_found_with_its_edges_peak_and_impulse():
    t_s, load_N = feet((5.0, 5.4, 0.15), (12.0, 12.1, 0.05))
    first, second = foot_contacts(t_s, load_N, W, 0.7)
    # The edges lie between two samples: the one before the rise and the one after it.
    assert (first.start_s, first.end_s) == pytest.approx((5.0, 5.4), abs=1 / RATE_Hz)
    assert (second.start_s, second.end_s) == pytest.approx((12.0, 12.1), abs=1 / RATE_Hz)
    assert first.peak_N == pytest.approx(0.15 * W, abs=3)
    # 105 N for 0.4 s are 42 N s.
    assert first.impulse_N_s == pytest.approx(42.0, abs=1.0)


def test_noise_and_a_breath_of_load_are_no_touch():
    assert foot_contacts(*feet(), W, 0.7) == []
    assert foot_contacts(*feet((5.0, 5.5, 0.006)), W, 0.7) == []
    assert foot_contacts(*feet((5.0, 5.5, 0.03), noise_N=6.0), W, 6.0) == []


@pytest.mark.parametrize(("apart_s", "count"), [(0.05, 1), (0.15, 2)])
def test_a_foot_that_bounces_touches_once(apart_s, count):
    assert len(foot_contacts(*feet((5.0, 5.3, 0.1), (5.3 + apart_s, 5.7, 0.1)), W, 0.7)) == count


def hands(*points: tuple[float, float]) -> list[float]:
    """Return the changes found where points (s, share of the right hand) are joined by straight lines."""
    t, right = np.array(points, dtype=float).T
    t_s = np.arange(t[0], t[-1], 1 / RATE_Hz)
    noise_N = 2 * np.random.default_rng(9).standard_normal((2, len(t_s)))
    right_N = W * np.interp(t_s, t, right)
    return grip_changes_s(t_s, W - right_N + noise_N[0], right_N + noise_N[1], W, RATE_Hz)


def test_a_change_of_hands_lies_where_both_sides_carry_alike():
    """The right hand's share falls from 0.7 to 0.3 between 9.8 and 10.2 s: half is reached at 10 s."""
    assert hands((0, 0.7), (9.8, 0.7), (10.2, 0.3), (20, 0.3)) == pytest.approx([10.0], abs=0.02)


def test_there_and_back_are_two_changes():
    found = hands((0, 0.3), (7.9, 0.3), (8.1, 0.7), (13.9, 0.7), (14.1, 0.3), (20, 0.3))
    assert found == pytest.approx([8.0, 14.0], abs=0.02)


@pytest.mark.parametrize("share", [0.5, 0.55])
def test_two_hands_side_by_side_change_nothing(share):
    assert hands((0, share), (10, share), (10.1, 1 - share), (20, 1 - share)) == []


def test_one_hand_that_lets_go_and_comes_back_is_no_change():
    assert hands((0, 0.5), (5, 0.5), (5.1, 0.75), (9, 0.75), (9.1, 0.5), (14, 0.5), (14.1, 0.75), (20, 0.75)) == []


def test_a_short_swing_to_the_other_side_is_no_change():
    assert hands((0, 0.7), (10, 0.7), (10.1, 0.3), (10.5, 0.3), (10.6, 0.7), (20, 0.7)) == []


def test_a_hold_shorter_than_the_look_tells_nothing():
    assert hands((0, 0.7), (0.5, 0.7), (0.6, 0.3), (0.9, 0.3)) == []
