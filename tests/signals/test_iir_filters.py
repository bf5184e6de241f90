"""Recursive filters and spectra against ``scipy.signal``, which the program itself does not import, and theory."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals.iir_filters import (
    StreamingFilter,
    band_pass,
    frequency_response,
    low_pass,
    steady_state,
    zero_phase,
)
from monitor.signals.spectrum import welch

BUTTERWORTH = json.loads((Path(__file__).parents[1] / "reference" / "butterworth.json").read_text(encoding="utf-8"))
SECOND_ORDER = BUTTERWORTH["digital_order2_fc_over_fs_0.1"]
LOW_PASSES = [(2, 2.0, 80.0), (2, 8.0, 80.0), (4, 10.0, 80.02), (4, 10.0, 1000.0), (6, 3.0, 50.0)]
BAND_PASSES = [(2, (0.6, 1.4), 80.0), (4, (6.0, 12.0), 80.02), (4, (6.0, 12.0), 1000.0)]
DESIGNS = [
    *((low_pass(*d), scipy.signal.butter(d[0], d[1], fs=d[2], output="sos"), d[2]) for d in LOW_PASSES),
    *((band_pass(*d), scipy.signal.butter(d[0], d[1], "bandpass", fs=d[2], output="sos"), d[2]) for d in BAND_PASSES),
]


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_a_design_has_the_frequency_response_of_scipys(own, sos, rate_Hz):
    """Their sections differ (in which pole stands with which zero), the whole does not.

    Both are rounded: a double holds 1e-16, and a slow pole at 1000 per second lies so near to 1 that its response
    takes the rounding of its coefficients some thousandfold.
    """
    f, wanted = scipy.signal.freqz_sos(sos, worN=2000, fs=rate_Hz)
    np.testing.assert_allclose(frequency_response(own, f, rate_Hz), wanted, rtol=0, atol=1e-12)


@pytest.mark.parametrize(("order", "band_Hz", "rate_Hz"), BAND_PASSES)
def test_a_bands_ends_pass_half_the_power(order, band_Hz, rate_Hz):
    """The definition of a Butterworth filter's corners."""
    gain = np.abs(frequency_response(band_pass(order, band_Hz, rate_Hz), np.array(band_Hz), rate_Hz))
    np.testing.assert_allclose(gain, 2**-0.5, rtol=1e-11)


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_zero_phase_filtering_equals_scipys(own, sos, rate_Hz):
    signal = 700 + 20 * np.random.default_rng(1).standard_normal(1500).cumsum()
    wanted = scipy.signal.sosfiltfilt(sos, signal)
    tolerance = 1e-13 * np.abs(signal).max()  # rounding only: a double holds 1e-16, and errors add up along a signal
    np.testing.assert_allclose(zero_phase(own, signal), wanted, rtol=0, atol=tolerance)
    np.testing.assert_allclose(zero_phase(sos, signal), wanted, rtol=0, atol=tolerance)


def test_zero_phase_filtering_refuses_a_signal_too_short_to_extend():
    sections = band_pass(4, (6.0, 12.0), 80.0)
    edge = 3 * (2 * 4 + 1)  # no coefficient of a band-pass is nothing at z^-2
    assert zero_phase(sections, np.ones(edge + 1)).shape == (edge + 1,)
    with pytest.raises(ValueError, match=f"More than {edge} samples"):
        zero_phase(sections, np.ones(edge))


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_streaming_equals_scipys_filter_to_the_bit_at_every_cut(own, sos, rate_Hz):
    rows = 500 + 30 * np.random.default_rng(2).standard_normal((400, 3)).cumsum(axis=0)
    zi = steady_state(own)[:, :, None] * rows[0]
    wanted, _ = scipy.signal.sosfilt(np.array(own), rows, axis=0, zi=zi)
    for cuts in ([400], [1, 7, 8, 64, 320], [8] * 50):
        stage = StreamingFilter(own)
        edges = np.cumsum([0, *cuts])
        result = np.concatenate([stage.push(rows[a:b]) for a, b in itertools.pairwise(edges)])
        np.testing.assert_array_equal(result, wanted)


@pytest.mark.parametrize(("own", "sos", "rate_Hz"), DESIGNS)
def test_a_steady_filter_keeps_its_output(own, sos, rate_Hz):
    np.testing.assert_allclose(steady_state(sos), scipy.signal.sosfilt_zi(sos), rtol=0, atol=1e-13)
    stage = StreamingFilter(own)
    gain = abs(frequency_response(own, np.zeros(1), rate_Hz)[0])
    np.testing.assert_allclose(stage.push(np.full((300, 1), 700.0))[:, 0], 700.0 * gain, rtol=0, atol=1e-6)


def test_filtering_leaves_its_input_unchanged():
    rows = np.arange(30.0).reshape(10, 3)
    before = rows.copy()
    StreamingFilter(low_pass(2, 2.0, 80.0)).push(rows)
    zero_phase(low_pass(2, 2.0, 80.0), rows[:, 0].copy())
    np.testing.assert_array_equal(rows, before)
    with pytest.raises(ValueError, match="read-only"):
        low_pass(2, 2.0, 80.0)[0, 0] = 1.0


@pytest.mark.parametrize("order", [0, 1, 3])
def test_odd_orders_and_corners_out_of_range_are_refused(order):
    with pytest.raises(ValueError, match="must be even"):
        low_pass(order, 2.0, 80.0)
    for corner_Hz in (0.0, 40.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="corner"):
            low_pass(2, corner_Hz, 80.0)


def test_the_impulse_response_is_that_of_the_published_coefficients():
    """Source: tests/reference/butterworth.json, digital second order at a tenth of the sample rate."""
    impulse = np.zeros((200, 1))
    impulse[1] = 1.0  # the filter is at rest on its first row, so the impulse comes after it
    out = StreamingFilter(low_pass(2, 8.0, 80.0)).push(impulse)[1:, 0]
    # The recursion y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2], written out for an impulse at n = 0.
    b, a, wanted = SECOND_ORDER["b"], SECOND_ORDER["a"], np.zeros(199)
    for n in range(199):
        wanted[n] = b[n] if n < 3 else 0.0
        wanted[n] -= a[1] * wanted[n - 1] if n > 0 else 0.0
        wanted[n] -= a[2] * wanted[n - 2] if n > 1 else 0.0
    np.testing.assert_allclose(out, wanted, rtol=0, atol=1e-15)


def test_the_gain_at_the_cutoff_is_half_the_power():
    """A Butterworth low-pass passes 1 / sqrt(2) at its cutoff whatever its order (any text on filters)."""
    t_s = np.arange(4000) / 80
    sine = np.sin(2 * np.pi * 2.0 * t_s)[:, None]
    out = StreamingFilter(low_pass(2, 2.0, 80.0)).push(sine)[2000:, 0]
    assert np.sqrt(2 * np.mean(out**2)) == pytest.approx(2**-0.5, abs=1e-6)


def test_streaming_starts_settled_on_the_first_row_and_anew_after_a_gap():
    stage = StreamingFilter(low_pass(2, 2.0, 80.0))
    np.testing.assert_allclose(stage.push(np.full((50, 2), [300.0, -4.0])), np.full((50, 2), [300.0, -4.0]), rtol=1e-12)
    stage.restart()
    np.testing.assert_allclose(stage.push(np.full((9, 2), 7.0)), np.full((9, 2), 7.0), rtol=1e-12)
    assert stage.push(np.full((1, 2), 1000.0))[0, 0] < 20.0
    assert stage.push(np.empty((0, 2))).shape == (0, 2)


@settings(deadline=None, max_examples=50)
@given(sizes=st.lists(st.integers(0, 40), min_size=1, max_size=30), seed=st.integers(0, 1000))
def test_block_edges_never_show_in_a_streaming_filter(sizes, seed):
    rows = 500 * np.random.default_rng(seed).standard_normal((sum(sizes), 3))
    stage, edges = StreamingFilter(low_pass(2, 2.0, 80.0)), np.cumsum([0, *sizes])
    pieces = [stage.push(rows[a:b]) for a, b in itertools.pairwise(edges)]
    np.testing.assert_array_equal(np.concatenate(pieces), StreamingFilter(low_pass(2, 2.0, 80.0)).push(rows))


@settings(deadline=None, max_examples=40)
@given(n=st.integers(80, 900), rows=st.integers(8, 80), more=st.integers(0, 50), line=st.booleans())
def test_welch_equals_scipys(n, rows, more, line):
    signal = 700 + np.random.default_rng(n).standard_normal(n).cumsum()
    f, wanted = scipy.signal.welch(
        signal,
        80.0,
        "hann",
        nperseg=rows,
        noverlap=rows // 2,
        nfft=rows + more,
        detrend=(lambda pieces: scipy.signal.detrend(pieces, type="linear")) if line else "constant",
    )
    own_f, own = welch(signal, 80.0, rows, padded=rows + more, line=line)
    np.testing.assert_allclose(own_f, f, rtol=1e-15)
    np.testing.assert_allclose(own, wanted, rtol=0, atol=1e-11 * wanted.max())


def test_white_noise_has_its_known_density():
    """White noise of variance v has the one-sided density 2 v / rate (any text on spectra)."""
    noise = 3.0 * np.random.default_rng(5).standard_normal(200_000)
    _, density = welch(noise, 80.0, 160)
    assert density[2:-1].mean() == pytest.approx(2 * 9.0 / 80.0, rel=0.01)
