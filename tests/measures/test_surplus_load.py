"""Loads of somebody or something else: what is not the person's weight is neither zeroed away nor believed."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.misclosure import OPEN_FRACTION, account_is_open, surplus_loads

RATE_Hz = 80.0
W = 700.0
T_s = np.arange(0, 40, 1 / RATE_Hz)
ONSET_S, RELEASE_S = 5.0, 35.0


def carried(*spans: tuple[float, float, float]) -> np.ndarray:
    """Return S of a lone body with more or less weight (share of W) from one instant to another."""
    sum_N = np.full(len(T_s), W)
    for start_s, end_s, share in spans:
        sum_N[(T_s >= start_s) & (T_s < end_s)] += share * W
    return sum_N


def test_a_coach_on_the_platform_is_a_surplus_with_its_size_and_edges():
    (surplus,) = surplus_loads(T_s, carried((12.0, 20.0, 0.5)), W, RATE_Hz, ONSET_S, RELEASE_S)
    assert surplus.fraction == pytest.approx(0.5, abs=0.01)
    assert (surplus.start_s, surplus.end_s) == (pytest.approx(12.0, abs=1.1), pytest.approx(20.0, abs=1.1))


def test_a_surplus_through_the_whole_hold_reaches_from_edge_to_edge():
    (surplus,) = surplus_loads(T_s, carried((0.0, 40.0, 0.1)), W, RATE_Hz, ONSET_S, RELEASE_S)
    assert (surplus.start_s, surplus.end_s) == (ONSET_S, RELEASE_S)


@pytest.mark.parametrize("share", [0.0, 0.9 * OPEN_FRACTION, -0.2])
def test_a_lone_body_has_no_surplus(share):
    assert surplus_loads(T_s, carried((12.0, 20.0, share)), W, RATE_Hz, ONSET_S, RELEASE_S) == []


def test_a_pull_of_the_shoulders_is_no_surplus():
    """Newton II: a rise between two rests gains no speed, so S averages to W over it (minimum jerk, 60 mm in 0.8 s)."""
    u = np.clip((T_s - 15.0) / 0.8, 0.0, 1.0)
    acceleration = 0.06 * (60 * u - 180 * u**2 + 120 * u**3) / 0.8**2
    sum_N = W * (1 + acceleration / 9.80665)
    assert surplus_loads(T_s, sum_N, W, RATE_Hz, ONSET_S, RELEASE_S) == []


@pytest.mark.parametrize(
    ("closure", "u", "expected"),
    [(0.004, 1e-4, False), (0.006, 1e-3, True), (0.006, 2e-3, False), (-0.02, 1e-3, True)],
)
def test_an_account_is_open_beyond_half_a_per_cent_and_five_uncertainties(closure, u, expected):
    assert account_is_open(closure, u) is expected
