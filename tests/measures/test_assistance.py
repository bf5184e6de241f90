"""Shares of bodyweight against a rectangle reckoned by hand, with its uncertainties."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.assistance import Assistance, assistance, mean_between

W = 800.0
ONSET_S, RELEASE_S = 10.0, 20.0


def rectangle(*, platform: bool = True, alpha_max: float = 0.10) -> Assistance:
    """Bar 720 N throughout; the feet carry 80 N, but 200 N for the 2 s before 18 s, where the bar has 600 N."""
    t_s = np.arange(0, 30, 0.01) + 0.005  # no sample lies on an edge
    helped = (t_s > 16) & (t_s < 18)
    bar_N = np.where(helped, 600.0, 720.0) * ((t_s > ONSET_S) & (t_s < RELEASE_S))
    feet_N = np.where(helped, 200.0, 80.0)
    # At the very edges the bar's load is taken for that of the rows inside: the rectangle has no slope.
    bar_N[(t_s > ONSET_S - 0.02) & (t_s < RELEASE_S + 0.02) & ~helped] = 720.0
    return assistance(
        t_s,
        bar_N,
        feet_N if platform else None,
        onset_s=ONSET_S,
        release_s=RELEASE_S,
        bodyweight_N=W,
        alpha_max=alpha_max,
    )


def test_means_of_a_rectangle():
    """By hand: beta = (8 * 720 + 2 * 600) / 10 / 800 = 0.87; alpha = (8 * 80 + 2 * 200) / 10 / 800 = 0.13."""
    share = rectangle()
    assert share.beta_mean == pytest.approx(0.87, abs=1e-3)
    assert share.alpha_mean == pytest.approx(0.13, abs=1e-3)
    assert share.alpha_median == pytest.approx(0.10)
    assert share.alpha_p95 == pytest.approx(0.25)
    assert share.direct


def test_without_a_platform_assistance_is_what_the_bar_lacks_and_as_uncertain_as_the_bar():
    share = rectangle(platform=False)
    assert not share.direct
    assert share.alpha_mean == pytest.approx(1 - share.beta_mean, abs=1e-12)


@pytest.mark.parametrize(("alpha_max", "clean_s"), [(0.05, 0.0), (0.10, 8.0), (0.20, 8.0), (0.25, 10.0)])
def test_the_clean_part_lies_within_the_allowance(alpha_max, clean_s):
    assert rectangle(alpha_max=alpha_max).clean_s == pytest.approx(clean_s, abs=0.02)


def test_a_mean_between_two_instants_cuts_the_readings_at_both():
    """The mean of v = 2 t between 0.25 and 2.5 is 0.25 + 2.5 = 2.75, though no sample lies on either."""
    t_s = np.arange(0.0, 4.0)
    assert mean_between(t_s, 2 * t_s, 0.25, 2.5) == pytest.approx(2.75)


@pytest.mark.parametrize("cut_s", [1.0, 1.0031, 1.0062, 1.011])
def test_a_steep_end_is_integrated_as_what_the_readings_are_means_of(cut_s):
    """Means over 1/80 s of 1e4 (1.1 - t)^2 for t < 1.1: the integral from the cut on is 1e4 (1.1 - cut)^3 / 3."""
    edges = np.arange(0, 4, 1 / 80)
    left = np.maximum(1.1 - edges, 0.0)
    readings = 1e4 / 3 * -np.diff(left**3) * 80
    middles = edges[:-1] + 1 / 160
    mean = mean_between(middles, readings, cut_s, 3.0)
    assert mean * (3.0 - cut_s) == pytest.approx(1e4 / 3 * (1.1 - cut_s) ** 3, rel=3e-3)
