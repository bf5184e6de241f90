"""The statistical bounds against least squares on simulated noise, and confidence bounds against closed forms."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from tests.accuracy import bounds
from tests.accuracy.confidence import rate_bounds, share_bounds
from tests.accuracy.summary import largest_at_best
from tests.physics.wiring import RATE_HZ

TRIALS = 4000
"""A standard deviation from so many trials is itself known to 1.1 % (one standard deviation)."""
WITHIN = 0.045


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20)


def test_cells_are_as_noisy_as_the_electronics_draw_them(rng):
    drawn = rng.uniform(0.022, 0.04, 200_000) * bounds.KGF_N
    assert bounds.cell_noise_N() == pytest.approx(np.sqrt(np.mean(drawn**2)), rel=2e-3)


def test_no_line_through_an_edge_crosses_the_level_more_sharply(rng):
    slope, height = 2000.0, 600.0
    rows = round(0.5 * height / slope * RATE_HZ)
    t = (np.arange(rows) - 0.5 * (rows - 1)) / RATE_HZ
    noise = rng.standard_normal((TRIALS, rows)) * bounds.part_noise_N(2)
    fits = np.polynomial.polynomial.polyfit(t, (slope * t + noise).T, 1)
    crossing = -fits[0] / fits[1]
    assert np.std(crossing) == pytest.approx(bounds.crossing_s(slope, height, 2), rel=WITHIN)


def test_a_mean_scatters_by_its_bound(rng):
    noise = rng.standard_normal((TRIALS, 240)) * bounds.part_noise_N(4)
    assert np.std(noise.mean(axis=1)) == pytest.approx(bounds.level_N(4, 3.0), rel=WITHIN)


def test_amplitude_and_frequency_of_a_sine_scatter_by_their_bounds(rng):
    """At this signal the least-squares sine reaches the bounds of Cramer and Rao."""
    rows, amplitude, sigma, cycle = 640, 1.0, 0.3, 0.011
    k = np.arange(rows) - 0.5 * (rows - 1)
    signal = amplitude * np.cos(2 * np.pi * cycle * k + 0.7)
    amplitudes, cycles = np.empty(TRIALS), np.empty(TRIALS)
    cosine, sine = np.cos(2 * np.pi * cycle * k), np.sin(2 * np.pi * cycle * k)
    # A small change of frequency turns the phase in proportion to the time: one more pair of columns.
    inverse = np.linalg.pinv(np.column_stack([cosine, sine, k * cosine, k * sine]))
    noise = rng.standard_normal((TRIALS, rows)) * sigma
    a, b, ka, kb = inverse @ (signal + noise).T
    amplitudes = np.hypot(a, b)
    # With phase p = atan2(-b, a), dp/dk = (kb a - ka b) / (a^2 + b^2), the sign by the convention above.
    cycles = cycle + (ka * b - kb * a) / amplitudes**2 / (2 * np.pi)
    assert np.std(amplitudes) == pytest.approx(bounds.sine_amplitude(sigma, rows), rel=WITHIN)
    wanted_Hz = bounds.sine_frequency_Hz(sigma, amplitude, rows)
    assert np.std(cycles) * RATE_HZ == pytest.approx(wanted_Hz, rel=WITHIN)


def test_a_load_integrated_twice_scatters_by_its_bound(rng):
    weight, rows = 700.0, 100
    acceleration = rng.standard_normal((TRIALS, rows)) * bounds.part_noise_N(6) / weight * bounds.G_m_s2
    acceleration -= acceleration.mean(axis=1, keepdims=True)
    velocity = np.concatenate([np.zeros((TRIALS, 1)), np.cumsum(acceleration, axis=1) / RATE_HZ], axis=1)
    way = np.trapezoid(velocity, dx=1 / RATE_HZ, axis=1)
    assert np.std(way) == pytest.approx(bounds.travel_m(weight, rows / RATE_HZ), rel=WITHIN)


def test_the_rms_of_a_tremor_scatters_by_its_bound(rng):
    """Fourier lines of the band are independent: their number is twice the band's width times the time."""
    seconds, rms = 30.0, 2.0
    lines = round(2 * 6.0 * seconds)
    per_line = bounds.part_noise_N(6) * math.sqrt(6.0 / (RATE_HZ / 2.0)) / math.sqrt(lines)
    tremor = rng.standard_normal(lines)
    tremor *= rms / np.sqrt(np.sum(tremor**2))
    noise = rng.standard_normal((TRIALS, lines)) * per_line
    observed = np.sqrt(np.sum((tremor + noise) ** 2, axis=1))
    assert np.std(observed) / rms == pytest.approx(bounds.tremor_rel(rms, seconds), rel=WITHIN)


@pytest.mark.parametrize("trials", [1, 10, 60])
def test_shares_without_an_event_have_the_closed_form(trials):
    """No event in n trials: the upper bound solves (1 - p)^n = 0.025."""
    low, high = share_bounds(0, trials)
    assert low == 0.0
    assert high == pytest.approx(1 - 0.025 ** (1 / trials), rel=1e-9)
    mirrored = share_bounds(trials, trials)
    assert mirrored == pytest.approx((1 - high, 1.0), rel=1e-9)


def test_rates_without_an_event_have_the_closed_form():
    """No event: the upper bound solves exp(-m) = 0.025."""
    assert rate_bounds(0, 2.0) == pytest.approx((0.0, -math.log(0.025) / 2.0))
    low, high = rate_bounds(4, 1.0)
    assert low < 4 < high


def test_no_line_has_a_better_known_slope(rng):
    seconds, rows = 0.5, round(0.5 * RATE_HZ)
    t = np.arange(rows) / RATE_HZ
    slopes = np.polynomial.polynomial.polyfit(t, rng.standard_normal((rows, TRIALS)) * bounds.part_noise_N(2), 1)[1]
    assert np.std(slopes) == pytest.approx(bounds.line_slope_N_s(seconds, 2), rel=WITHIN)


def test_the_largest_of_perfect_errors_is_what_normal_tables_say():
    """Median of one absolute normal value: 0.67449 (the probable error); of many, from the normal distribution."""
    assert largest_at_best(np.array([2.0])) == pytest.approx(2 * 0.67449, abs=1e-4)
    each = 0.5 ** (1 / 50)
    assert largest_at_best(np.full(50, 3.0)) == pytest.approx(3 * NormalDist().inv_cdf((1 + each) / 2), rel=1e-6)
    assert largest_at_best(np.array([1.0, 1e-9])) == pytest.approx(0.67449, abs=1e-4)
