"""Sliding statistics against SciPy's image package, which the program itself goes without, and worked by hand."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from monitor.signals import sliding


@settings(deadline=None, max_examples=60)
@given(n=st.integers(1, 400), rows=st.integers(1, 90), seed=st.integers(0, 1000))
def test_they_are_scipys_to_the_bit(n, rows, seed):
    signal = 700 * np.random.default_rng(seed).standard_normal(n)
    np.testing.assert_array_equal(sliding.mean(signal, rows), ndimage.uniform_filter1d(signal, rows, mode="nearest"))
    np.testing.assert_array_equal(sliding.highest(signal, rows), ndimage.maximum_filter1d(signal, rows, mode="nearest"))
    np.testing.assert_array_equal(sliding.lowest(signal, rows), ndimage.minimum_filter1d(signal, rows, mode="nearest"))
    odd = rows | 1
    if odd <= n:
        np.testing.assert_array_equal(sliding.median(signal, odd), ndimage.median_filter(signal, odd, mode="nearest"))
    marked = signal > 1000
    np.testing.assert_array_equal(sliding.near(marked, rows), ndimage.binary_dilation(marked, iterations=rows))


def test_the_front_door_slides_to_the_bit_like_the_loops_alone():
    signal = np.random.default_rng(7).standard_normal(300)
    front, plain = sliding.front_door_loops(), sliding.loops()
    for name in ("mean", "highest", "lowest", "median"):
        np.testing.assert_array_equal(getattr(plain, name)(signal, 31), getattr(front, name)(signal, 31))


def test_columns_of_a_table_and_nothing_at_all():
    table = np.arange(30.0).reshape(10, 3)
    np.testing.assert_array_equal(sliding.mean(table[:, 1], 3)[1:-1], table[1:-1, 1])
    assert sliding.mean(np.empty(0), 5).shape == (0,)
    assert sliding.near(np.zeros(0, dtype=bool), 5).shape == (0,)


def test_windows_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="one row or more"):
        sliding.mean(np.ones(5), 0)
    for rows in (4, 7):
        with pytest.raises(ValueError, match="odd window of at most 5"):
            sliding.median(np.ones(5), rows)


@pytest.mark.parametrize("lost", ["_nd_image", "_rank_filter_1d"])
def test_where_a_loop_is_not_found_the_front_door_serves(monkeypatch, lost):
    true = sliding.compiled_module
    monkeypatch.setattr(sliding, "compiled_module", lambda package, name: None if name == lost else true(package, name))
    assert sliding._plain_loops() is None


def test_a_loop_that_answers_otherwise_is_not_used(monkeypatch):
    class Strange:
        @staticmethod
        def uniform_filter1d(signal, rows, axis, out, *more):
            out[:] = 0.0

        @staticmethod
        def rank_filter(*more):
            raise RuntimeError("other arguments")

    monkeypatch.setattr(sliding, "compiled_module", lambda package, name: Strange)
    assert sliding._plain_loops() is None


def test_the_loops_alone_and_the_whole_package_live_together():
    """In a child: this process has loaded SciPy's image package already."""
    code = """
import sys, numpy as np
from monitor.signals import sliding
x = np.arange(40.0) % 7
own = [sliding.mean(x, 5), sliding.highest(x, 5), sliding.median(x, 5)]
assert "scipy.ndimage" not in sys.modules and "scipy.special" not in sys.modules
from scipy import ndimage
theirs = [ndimage.uniform_filter1d(x, 5, mode="nearest"), ndimage.maximum_filter1d(x, 5, mode="nearest"),
          ndimage.median_filter(x, 5, mode="nearest")]
print(np.array_equal(own, theirs))
"""
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (ran.stdout, ran.returncode) == ("True\n", 0), ran.stderr
