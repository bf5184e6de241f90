"""The account of bodyweight, third supports, the peak, and the catch's ringing."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.misclosure import misclosure, quiet_misclosure, third_supports
from monitor.measures.peak import Peak, peak_of
from monitor.measures.settling import bounce_Hz, settle_s

W = 700.0
RATE_Hz = 80.0
T_s = np.arange(0, 40, 1 / RATE_Hz)
ONSET_S, RELEASE_S = 5.0, 35.0


def test_the_misclosure_is_what_newtons_second_law_leaves_open():
    """S - W = m a: at rest nothing is missing, at a = g / 10 upward a tenth too much is there."""
    assert misclosure(np.array([700.0, 770.0, 350.0, np.nan]), 700.0).tolist()[:3] == pytest.approx([0.0, 0.1, -0.5])
    assert np.isnan(misclosure(np.array([np.nan]), 700.0)[0])


def test_the_quiet_misclosure_is_the_median_of_the_quiet_rows():
    sum_N = np.full(100, 0.98 * W)
    sum_N[50:] = 5 * W
    quiet = np.arange(100) < 50
    assert quiet_misclosure(sum_N, W, quiet) == pytest.approx(-0.02)
    assert quiet_misclosure(sum_N, W, np.arange(100) < 7) is None


def missing(*spans: tuple[float, float, float], noise_N: float = 2.0) -> np.ndarray:
    sum_N = W + noise_N * np.random.default_rng(3).standard_normal(len(T_s))
    for start_s, end_s, share in spans:
        sum_N -= W * share * ((T_s >= start_s) & (T_s < end_s))
    return sum_N


def test_a_third_support_is_found_with_its_level_and_edges():
    (result,) = third_supports(T_s, missing((12, 20, 0.10)), W, RATE_Hz, ONSET_S, RELEASE_S)
    assert result.fraction == pytest.approx(0.10, abs=0.002)
    assert (result.start_s, result.end_s) == pytest.approx((12, 20), abs=0.05)


def test_two_supports_of_different_size_are_two():
    first, second = third_supports(T_s, missing((8, 12, 0.30), (20, 30, 0.05)), W, RATE_Hz, ONSET_S, RELEASE_S)
    assert (first.fraction, second.fraction) == pytest.approx((0.30, 0.05), abs=0.003)
    assert second.start_s == pytest.approx(20, abs=0.05)


@pytest.mark.parametrize(
    "spans",
    [(), ((12, 13.0, 0.10),), ((12, 25, 0.015),), ((0, 4, 0.5),), ((12, 20, -0.1),)],
    ids=["nothing", "shorter than 2 s", "below 2.5 %", "outside of the hold", "too much instead of too little"],
)
def test_what_is_no_third_support(spans):
    assert third_supports(T_s, missing(*spans), W, RATE_Hz, ONSET_S, RELEASE_S) == []


def test_breathing_and_swing_are_no_third_support():
    """Breathing of 2 % at 0.25 Hz, and the beat of a 10 degree swing: kappa theta^2 = 0.026 at 0.9 Hz."""
    sum_N = missing() + W * (0.02 * np.sin(2 * np.pi * 0.25 * T_s) + 0.026 * np.sin(2 * np.pi * 0.9 * T_s))
    assert third_supports(T_s, sum_N, W, RATE_Hz, ONSET_S, RELEASE_S) == []


def peak_in(bar_N: np.ndarray, release_s: float = RELEASE_S, noise_N: float = 0.0) -> Peak:
    return peak_of(T_s, bar_N[:, None], ONSET_S, release_s, RATE_Hz, noise_N)


def test_a_blow_of_one_reading_is_the_largest_reading_between_the_edges():
    bar_N = np.full(len(T_s), W)
    bar_N[round(3 * RATE_Hz)] = 3000.0  # before the hold
    bar_N[round(5.2 * RATE_Hz)] = 1234.5
    assert peak_in(bar_N).load_N == 1234.5


@pytest.mark.parametrize("phase", [0.0, 0.2, 0.45, 0.7])
def test_the_peak_of_a_pulse_is_found_between_the_readings(phase):
    """A half sine of 500 N and T = 0.15 s on W: its largest mean over h is W + 500 N sin(x) / x, x = pi h / (2 T)."""
    fine = 200
    t = (np.arange(len(T_s) * fine) + 0.5) / (RATE_Hz * fine) + T_s[0] - 0.5 / RATE_Hz
    since = t - (5.0 + phase / RATE_Hz)
    pulse = np.where((since > 0) & (since < 0.15), 500.0 * np.sin(np.pi * since / 0.15), 0.0)
    bar_N = (W + pulse).reshape(len(T_s), fine).mean(axis=1)
    x = np.pi * 0.0125 / (2 * 0.15)
    peak = peak_in(bar_N)
    assert peak.load_N == pytest.approx(W + 500.0 * np.sin(x) / x, abs=1.0)
    assert peak.resolved


@pytest.mark.parametrize("rate_Hz", [80.0, 200.0, 640.0])
def test_the_peak_is_the_same_mean_at_every_rate(rate_Hz):
    """The same half sine read 80, 200 and 640 times a second: a mean over 12.5 ms is no matter of the converter."""
    t_s = np.arange(0, 10, 1 / rate_Hz)
    fine = 128
    t = (np.arange(len(t_s) * fine) + 0.5) / (rate_Hz * fine) + t_s[0] - 0.5 / rate_Hz
    since = t - 5.0033
    pulse = np.where((since > 0) & (since < 0.15), 500.0 * np.sin(np.pi * since / 0.15), 0.0)
    bar_N = (W + pulse).reshape(len(t_s), fine).mean(axis=1)
    x = np.pi * 0.0125 / (2 * 0.15)
    peak = peak_of(t_s, bar_N[:, None], 4.0, 6.0, rate_Hz)
    assert peak.load_N == pytest.approx(W + 500.0 * np.sin(x) / x, abs=1.0)


def test_a_step_does_not_ring_into_the_peak():
    """Hands that open within one reading: an interpolated step would overshoot by up to 9 % (Gibbs)."""
    for share in (0.0, 0.3, 0.6, 0.9):
        bar_N = np.where(T_s < 30.0, W, 0.0)
        bar_N[np.searchsorted(T_s, 30.0)] = share * W
        peak = peak_in(bar_N + np.random.default_rng(1).normal(0, 0.3, len(bar_N)), 30.006, 0.3)
        assert peak.load_N == pytest.approx(W, rel=0.003)
        assert peak.resolved


@pytest.mark.parametrize("frequency_Hz", [35.0, 47.0, 54.0])
def test_a_peak_in_a_ringing_is_as_sure_as_it_says(frequency_Hz):
    """A ringing near half of the rate folds down: the same readings come of the rate less its frequency.

    A half sine of 300 N and 0.15 s with 80 N of ringing that dies down within 0.1 s; the truth is the fine course's
    largest mean over 12.5 ms. Over all phases the errors are no larger than the stated standard uncertainty, none is
    larger than two of them, and what is off by more than one per cent was not said to be resolved.
    """
    t_s, fine = np.arange(0, 3, 1 / RATE_Hz), 50
    since = (np.arange(len(t_s) * fine) + 0.5) / (RATE_Hz * fine) - 0.5 / RATE_Hz - 1.0
    on = since > 0
    away = []
    for phase in np.linspace(0, 2 * np.pi, 24, endpoint=False):
        ring = 80.0 * np.exp(-since.clip(0) / 0.1) * np.sin(2 * np.pi * frequency_Hz * since + phase)
        load = W + on * (ring + 300.0 * (since < 0.15) * np.sin(np.pi * since / 0.15))
        total = np.concatenate([[0.0], np.cumsum(load)])
        true_N = ((total[fine:] - total[:-fine]) / fine).max()
        peak = peak_of(t_s, load.reshape(len(t_s), fine).mean(axis=1)[:, None], 0.5, 2.5, RATE_Hz, 0.3)
        away.append((peak.load_N - true_N) / peak.u_N)
        assert not peak.resolved or abs(peak.load_N / true_N - 1) < 0.01
    assert np.sqrt(np.mean(np.square(away))) < 1.0
    assert np.abs(away).max() < 2.0


def test_a_reading_that_was_bridged_at_the_peak_is_put_in_and_makes_it_less_sure():
    """The cubic through four readings beside a gap of one, Lagrange: (4 (b + c) - a - d) / 6; exact for a parabola."""
    whole = W + np.maximum(0.0, 200.0 - 20.0 * (np.arange(len(T_s)) - round(8 * RATE_Hz)) ** 2.0 / 4)
    top = int(np.argmax(whole))
    bridged = whole.copy()
    bridged[top] = (whole[top - 1] + whole[top + 1]) / 2
    known, put_in = peak_in(whole), peak_in(bridged)
    assert put_in.load_N == pytest.approx(known.load_N, abs=0.01)
    assert put_in.u_N == pytest.approx(np.hypot(known.u_N, (whole[top] - bridged[top]) / 2), rel=0.01)


def ringing(frequency_Hz: float, size: float, decay_s: float) -> np.ndarray:
    since_s = np.maximum(0.0, T_s - ONSET_S)
    ring = size * np.exp(-since_s / decay_s) * np.sin(2 * np.pi * frequency_Hz * since_s)
    return W * (1 + ring)


def test_ringing_settles_when_it_stays_within_five_per_cent():
    """An envelope of 0.4 exp(-t / 1 s) is 0.05 after ln 8 = 2.079 s; the last peak before lies within a half period."""
    settled_s = settle_s(T_s, ringing(4.0, 0.4, 1.0), W, RATE_Hz, ONSET_S, RELEASE_S)
    assert settled_s == pytest.approx(np.log(8), abs=0.25)


def test_a_quiet_beginning_is_settled_at_once_and_a_restless_one_never():
    assert settle_s(T_s, missing(), W, RATE_Hz, ONSET_S, RELEASE_S) == 0.0
    restless_N = W * (1 + 0.2 * np.sin(2 * np.pi * T_s))
    assert settle_s(T_s, restless_N, W, RATE_Hz, ONSET_S, RELEASE_S) is None


@pytest.mark.parametrize("length_s", [4.0, 9.0, 14.0])
def test_the_release_of_a_short_hold_is_no_ringing(length_s):
    """Letting go takes S from W to half of W before the edge; a hold of few seconds has settled all the same."""
    release_s = ONSET_S + length_s
    sum_N = np.interp(T_s, [0, release_s - 0.1, release_s + 0.1, 40], [W, W, 0, 0])
    assert settle_s(T_s, sum_N, W, RATE_Hz, ONSET_S, release_s) == 0.0


def test_a_third_support_does_not_read_as_ringing():
    assert settle_s(T_s, np.full(len(T_s), 0.9 * W), W, RATE_Hz, ONSET_S, RELEASE_S) == 0.0


@pytest.mark.parametrize("frequency_Hz", [2.6, 3.7, 5.5])
def test_the_bounce_on_the_arms_is_read_from_the_catch(frequency_Hz):
    sum_N = ringing(frequency_Hz, 0.5, 1.0)
    assert bounce_Hz(T_s, sum_N, W, ONSET_S) == pytest.approx(frequency_Hz, rel=0.02)


def test_a_catch_that_does_not_ring_has_no_bounce():
    assert bounce_Hz(T_s, np.full(len(T_s), W) + 1e-6, W, ONSET_S) is None
    assert bounce_Hz(T_s, ringing(3.0, 0.015, 5.0), W, ONSET_S) is None
    assert bounce_Hz(T_s, ringing(12.0, 0.3, 5.0), W, ONSET_S) is None
