"""The rate of loading: the steepest rise of a load over 50 ms, told from means over the sample interval.

Loads are closed formulas whose steepest rise is known; readings are their means, by sums over 100 steps each.
"""

from __future__ import annotations

import numpy as np
import pytest

from monitor.measures.loading_rate import loading_rate_rise

ONSET_S = 10.0
FINE = 100


def readings(load, rate_Hz, phase=0.0, seconds=20.0, noise_N=0.0):
    """Return middles and means of a load (a function of time) over intervals that begin at a phase of theirs."""
    n = round(seconds * rate_Hz)
    step_s = 1 / (rate_Hz * FINE)
    t = (np.arange(n * FINE) + 0.5) * step_s + phase / rate_Hz
    means = load(t).reshape(n, FINE).mean(axis=1)
    noise = np.random.default_rng(5).standard_normal(n) * noise_N
    return (np.arange(n) + 0.5 + phase) / rate_Hz, means + noise


def half_cosine(t, rise_s=0.4, top_N=700.0, begin_s=9.8):
    """Return the load of a bar that is taken over along half a cosine."""
    return top_N * (0.5 - 0.5 * np.cos(np.pi * np.clip((t - begin_s) / rise_s, 0, 1)))


def loading_rate_of_half_cosine(rise_s, top_N):
    """Around its middle, by the addition theorem: top sin(pi 0.05 / (2 T)) over 0.05 s."""
    return top_N * np.sin(np.pi * 0.05 / (2 * rise_s)) / 0.05


@pytest.mark.parametrize("rate_Hz", [80.0, 200.0, 1000.0])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("rise_s", [0.2, 0.4])
def test_a_bar_taken_over_smoothly(rate_Hz, phase, rise_s):
    t, x = readings(lambda t: half_cosine(t, rise_s, begin_s=ONSET_S - rise_s / 2), rate_Hz, phase)
    rise = loading_rate_rise(t, x, ONSET_S, rate_Hz, 0.0)
    assert rise is not None
    assert rise.rate_N_s == pytest.approx(loading_rate_of_half_cosine(rise_s, 700.0), rel=0.002)


@pytest.mark.parametrize("phase", np.linspace(0, 0.9, 10))
def test_the_window_begins_where_it_is_said_to_and_not_at_the_next_reading(phase):
    """Steepest at 0.2 s before the onset, where the window begins: 50 ms from there on are the steepest of what counts.

    Half a cosine of 200 N over 0.2 s, from its middle on for a quarter of it: 100 cos(pi / 4) N over 0.05 s.
    """

    def load(t):
        return 100.0 + half_cosine(t, 0.2, 200.0, ONSET_S - 0.3) + 400.0 * np.clip(t - ONSET_S + 0.1, 0, 1)

    t, x = readings(load, 80.0, phase)
    rise = loading_rate_rise(t, x, ONSET_S, 80.0, 0.0)
    assert rise is not None
    assert rise.rate_N_s == pytest.approx(100 * np.cos(np.pi / 4) / 0.05, rel=0.02)


@pytest.mark.parametrize("phase", np.linspace(0, 0.9, 10))
@pytest.mark.parametrize(("slope_N_s", "bounce_Hz"), [(40000.0, 4.0), (15000.0, 3.0), (25000.0, 5.0)])
def test_a_jump_that_is_caught(phase, slope_N_s, bounce_Hz):
    """Nothing until the hands close, then a sine from its steepest point on: top sin(2 pi f 0.05 s) over 0.05 s.

    Means over 12.5 ms blur that corner; their own steepest rise is some per cent too small (checked beside).
    """
    top = slope_N_s / (2 * np.pi * bounce_Hz)

    def load(t):
        return top * np.sin(2 * np.pi * bounce_Hz * np.clip(t - ONSET_S, 0, 0.25 / bounce_Hz))

    t, x = readings(load, 80.0, phase, noise_N=0.4)
    true = top * np.sin(2 * np.pi * bounce_Hz * 0.05) / 0.05
    rise = loading_rate_rise(t, x, ONSET_S + 0.01, 80.0, 0.4)
    assert rise is not None
    assert rise.rate_N_s == pytest.approx(true, rel=0.02)
    assert rise.rate_N_s == pytest.approx(true, abs=3.5 * rise.u_N_s)
    assert (x[4:] - x[:-4]).max() / 0.05 < 0.99 * true


def test_noise_is_in_the_uncertainty():
    """200 takings over of 700 N in 0.4 s under 0.5 N of noise: errors are as large as said, within a third."""
    over_u = []
    for seed in range(200):
        t, x = readings(half_cosine, 80.0, phase=seed / 200)
        x = x + 0.5 * np.random.default_rng(seed).standard_normal(len(x))
        rise = loading_rate_rise(t, x, ONSET_S, 80.0, 0.5)
        assert rise is not None
        over_u.append((rise.rate_N_s - loading_rate_of_half_cosine(0.4, 700.0)) / rise.u_N_s)
    assert 0.67 < np.sqrt(np.mean(np.square(over_u))) < 1.33


def test_slow_converters_and_short_records_have_no_loading_rate():
    for rate_Hz, seconds in ((50.0, 20.0), (80.0, 10.1)):
        t, x = readings(half_cosine, rate_Hz, seconds=seconds)
        assert loading_rate_rise(t, x, ONSET_S, rate_Hz, 0.4) is None
    t, x = readings(half_cosine, 80.0)
    late = t > ONSET_S - 0.02
    assert loading_rate_rise(t[late], x[late], ONSET_S, 80.0, 0.4) is None
