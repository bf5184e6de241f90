"""The live view's filters, against published coefficients and against every cut of the stream."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals.lowpass import HoldLast, LowPass

BUTTERWORTH = json.loads((Path(__file__).parents[1] / "reference" / "butterworth.json").read_text(encoding="utf-8"))
SECOND_ORDER = BUTTERWORTH["digital_order2_fc_over_fs_0.1"]


def pushed(stage: LowPass | HoldLast, rows: np.ndarray, sizes: list[int]) -> np.ndarray:
    edges = np.cumsum([0, *sizes])
    return np.concatenate([stage.push(rows[a:b]) for a, b in itertools.pairwise(edges)])


def test_the_impulse_response_is_that_of_the_published_coefficients():
    """Source: tests/reference/butterworth.json, digital second order at a tenth of the sample rate."""
    impulse = np.zeros((200, 1))
    impulse[1] = 1.0  # the filter is at rest on its first row, so the impulse comes after it
    out = LowPass(8.0, 80.0).push(impulse)[1:, 0]
    # The recursion y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2], written out for an impulse at n = 0.
    b, a, wanted = SECOND_ORDER["b"], SECOND_ORDER["a"], np.zeros(199)
    for n in range(199):
        wanted[n] = b[n] if n < 3 else 0.0
        wanted[n] -= a[1] * wanted[n - 1] if n > 0 else 0.0
        wanted[n] -= a[2] * wanted[n - 2] if n > 1 else 0.0
    np.testing.assert_allclose(out, wanted, rtol=0, atol=1e-15)


def test_its_gain_at_the_cutoff_is_half_the_power():
    """A Butterworth low-pass passes 1 / sqrt(2) at its cutoff whatever its order (any text on filters)."""
    t_s = np.arange(4000) / 80
    sine = np.sin(2 * np.pi * 2.0 * t_s)[:, None]
    out = LowPass(2.0, 80.0).push(sine)[2000:, 0]
    assert np.sqrt(2 * np.mean(out**2)) == pytest.approx(2**-0.5, abs=1e-6)


def test_it_starts_at_rest_on_the_first_row_and_anew_after_a_gap():
    stage = LowPass(2.0, 80.0)
    np.testing.assert_allclose(stage.push(np.full((50, 2), [300.0, -4.0])), np.full((50, 2), [300.0, -4.0]), rtol=1e-12)
    np.testing.assert_allclose(stage.push(np.full((9, 2), 7.0), after_gap=True), np.full((9, 2), 7.0), rtol=1e-12)
    assert stage.push(np.full((1, 2), 1000.0))[0, 0] < 20.0
    assert stage.push(np.empty((0, 2))).shape == (0, 2)


@settings(deadline=None, max_examples=50)
@given(sizes=st.lists(st.integers(0, 40), min_size=1, max_size=30), seed=st.integers(0, 1000))
def test_cuts_never_show_in_the_low_pass(sizes, seed):
    rows = 500 * np.random.default_rng(seed).standard_normal((sum(sizes), 3))
    np.testing.assert_array_equal(pushed(LowPass(2.0, 80.0), rows, sizes), LowPass(2.0, 80.0).push(rows))


def test_the_last_reading_is_held_and_zero_stands_before_the_first():
    nan = np.nan
    rows = np.array([[nan, 1.0], [2.0, nan], [nan, nan], [5.0, 6.0]])
    stage = HoldLast(2)
    assert stage.push(rows).tolist() == [[0.0, 1.0], [2.0, 1.0], [2.0, 1.0], [5.0, 6.0]]
    assert stage.push(np.full((2, 2), nan)).tolist() == [[5.0, 6.0], [5.0, 6.0]]
    assert stage.push(np.empty((0, 2))).shape == (0, 2)


@settings(deadline=None, max_examples=50)
@given(sizes=st.lists(st.integers(0, 12), min_size=1, max_size=20), seed=st.integers(0, 1000))
def test_cuts_never_show_in_held_readings(sizes, seed):
    random = np.random.default_rng(seed)
    rows = random.standard_normal((sum(sizes), 3))
    rows[random.random(rows.shape) < 0.3] = np.nan
    np.testing.assert_array_equal(pushed(HoldLast(3), rows, sizes), HoldLast(3).push(rows))
