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


def test_two_blows_with_nothing_between_are_one_touch_between_the_thresholds():
    """Two readings of 80 N, three of 0 N between them: the median is 0, so the threshold of 12 N gives the edges."""
    t_s, load_N = np.arange(80) / 80, np.zeros(80)
    load_N[[40, 44]] = 80.0
    (contact,) = foot_contacts(t_s, load_N, 1000.0, 0.0)
    assert contact.start_s == pytest.approx((39 + 12 / 80) / 80)
    assert contact.end_s == pytest.approx((45 - 12 / 80) / 80)
    assert (contact.peak_N, contact.impulse_N_s) == pytest.approx((80.0, 2.0))


def test_edges_of_a_touch_are_those_of_its_own_level():
    """IEEE Std 181-2011: half of the settled level, 120 N here, on straight sides of 50 ms each.

    What comes before (a spring of one reading, the foot's tip at 30 N) is no part of the level and moves no edge.
    """
    t_s = np.arange(0, 20, 1 / RATE_Hz)
    load_N = np.interp(t_s, [9.7, 9.71, 10.0, 10.05, 10.4, 10.45], [0, 30, 30, 120, 120, 0], 0, 0)
    load_N[np.searchsorted(t_s, 9.65)] = 70.0
    (contact,) = foot_contacts(t_s, load_N, W, 0.7)
    assert contact.start_s == pytest.approx(10.0 + 0.05 * 30 / 90, abs=1e-4)
    assert contact.end_s == pytest.approx(10.425, abs=1e-4)


@pytest.mark.parametrize(
    ("shape", "resolved"),
    [
        # Put down over 100 ms: many readings show how it goes up.
        (([10.0, 10.1, 10.4, 10.5], [0, 100, 100, 0]), True),
        # Struck within a reading: what the platform does until the next reading nobody sees.
        (([10.0, 10.01, 10.4, 10.5], [0, 100, 100, 0]), False),
        # Struck, and then stood on with twice the load: the peak is the standing's.
        (([10.0, 10.01, 10.2, 10.3, 10.4, 10.5], [0, 100, 100, 190, 190, 0]), True),
    ],
)
def test_a_peak_that_may_be_the_blow_of_a_foot_is_not_resolved(shape, resolved):
    t_s = np.arange(0, 20, 1 / RATE_Hz)
    (contact,) = foot_contacts(t_s, np.interp(t_s, *shape, 0, 0), W, 0.7)
    assert contact.peak_resolved is resolved


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


@pytest.mark.parametrize("phase", [0.0, 1.5, 3.0, 4.5])
def test_a_ringing_at_the_change_does_not_move_its_instant(phase):
    """The last equality of both sides as means over 0.3 s, from the fine course itself."""
    fine_s = np.arange(0, 20, 1e-4)
    since_s = np.maximum(0.0, fine_s - 9.9)
    ring = 0.1 * np.exp(-since_s / 0.15) * np.sin(2 * np.pi * 4.0 * since_s + phase) * (fine_s > 9.9)
    half = np.interp(fine_s, [9.8, 10.2], [0.2, -0.2]) + ring
    crossed_s = fine_s[np.flatnonzero(np.convolve(half, np.ones(3001) / 3001, "same") > 0)[-1]]
    t_s = np.arange(0, 20, 1 / RATE_Hz)
    right_N = W * (0.5 + np.interp(t_s, fine_s, half))
    (result,) = grip_changes_s(t_s, W - right_N, right_N, W, RATE_Hz)
    assert result == pytest.approx(crossed_s, abs=0.002)


def test_there_and_back_are_two_changes():
    result = hands((0, 0.3), (7.9, 0.3), (8.1, 0.7), (13.9, 0.7), (14.1, 0.3), (20, 0.3))
    assert result == pytest.approx([8.0, 14.0], abs=0.02)


@pytest.mark.parametrize("share", [0.5, 0.55])
def test_two_hands_side_by_side_change_nothing(share):
    assert hands((0, share), (10, share), (10.1, 1 - share), (20, 1 - share)) == []


def test_one_hand_that_lets_go_and_comes_back_is_no_change():
    assert hands((0, 0.5), (5, 0.5), (5.1, 0.75), (9, 0.75), (9.1, 0.5), (14, 0.5), (14.1, 0.75), (20, 0.75)) == []


def test_a_short_swing_to_the_other_side_is_no_change():
    assert hands((0, 0.7), (10, 0.7), (10.1, 0.3), (10.5, 0.3), (10.6, 0.7), (20, 0.7)) == []


def test_a_hold_shorter_than_the_window_has_no_change_of_hands():
    assert hands((0, 0.7), (0.5, 0.7), (0.6, 0.3), (0.9, 0.3)) == []
