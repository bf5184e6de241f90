"""Sliding statistics: window by window, edges and empty signals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from monitor.signals import sliding


@settings(deadline=None, max_examples=60)
@given(n=st.integers(1, 120), rows=st.integers(1, 60), seed=st.integers(0, 1000))
def test_every_window_is_centred_and_repeats_the_end_values(n, rows, seed):
    """Window by window, written out: one row further back if even, first and last value repeated beyond the ends."""
    signal = 700 * np.random.default_rng(seed).standard_normal(n)
    before = rows // 2
    padded = np.pad(signal, (before, rows - 1 - before), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, rows)
    np.testing.assert_allclose(sliding.mean(signal, rows), windows.mean(axis=1), rtol=0, atol=1e-9)
    np.testing.assert_array_equal(sliding.highest(signal, rows), windows.max(axis=1))
    np.testing.assert_array_equal(sliding.lowest(signal, rows), windows.min(axis=1))
    if rows % 2 and rows <= n:
        np.testing.assert_array_equal(sliding.median(signal, rows), np.median(windows, axis=1))
    marked = signal > 1000
    np.testing.assert_array_equal(sliding.near(marked, rows), ndimage.binary_dilation(marked, iterations=rows))


def test_columns_of_a_table_and_empty_signals():
    table = np.arange(30.0).reshape(10, 3)
    np.testing.assert_array_equal(sliding.mean(table[:, 1], 3)[1:-1], table[1:-1, 1])
    assert sliding.mean(np.empty(0), 5).shape == (0,)
    assert sliding.near(np.zeros(0, dtype=bool), 5).shape == (0,)


def test_impossible_windows_are_refused():
    with pytest.raises(ValueError, match="one row or more"):
        sliding.mean(np.ones(5), 0)
    for rows in (4, 7):
        with pytest.raises(ValueError, match="odd and at most 5"):
            sliding.median(np.ones(5), rows)
