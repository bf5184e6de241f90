"""Means, medians, robust deviations and runs: against NumPy, SciPy and written out."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.runs import runs_of
from monitor.statistics import column_medians, inliers, mean, median, robust_sd, standard_deviation


@settings(deadline=None, max_examples=100)
@given(n=st.integers(1, 300), seed=st.integers(0, 1000), digits=st.integers(1, 9))
def test_mean_deviation_and_median_equal_numpys_to_the_bit(n, seed, digits):
    values = np.round(700 + 30 * np.random.default_rng(seed).standard_normal(n), digits)
    assert mean(values) == values.mean()
    assert standard_deviation(values) == values.std()
    assert median(values) == np.median(values)
    table = np.column_stack([values, values])
    assert mean(table[:, 1]) == table[:, 1].mean()


@settings(deadline=None, max_examples=50)
@given(n=st.integers(1, 300), seed=st.integers(0, 1000))
def test_the_robust_deviation_equals_scipys(n, seed):
    values = 700 + 30 * np.random.default_rng(seed).standard_normal(n)
    expected = scipy.stats.median_abs_deviation(values, scale="normal")
    assert robust_sd(values) == pytest.approx(expected, rel=3e-5)  # 1.4826 has five digits
    assert robust_sd(values, 700.0) == pytest.approx(1.4826 * np.median(np.abs(values - 700.0)))


def test_outliers_and_failed_readings_are_no_inliers():
    values = np.array([10.0, 10.0, 11.0, np.nan, 9.0, 10.0, 500.0, 18.0])
    # Median 10, median absolute deviation 1: the limit is 8 * 1.4826 = 11.9 from the median.
    assert inliers(values, 0.0).tolist() == [True, True, True, False, True, True, False, True]
    assert inliers(np.array([3.0, 3.0, 3.0, 4.0]), 0.2).tolist() == [True, True, True, True]
    assert inliers(np.array([3.0, 3.0, 3.0, 4.0]), 0.1).tolist() == [True, True, True, False]
    assert not inliers(np.full(4, np.nan), 1.0).any()


@pytest.mark.parametrize("rows", [1, 2, 7, 40, 160])
def test_column_medians_equal_numpys_nanmedian(rows):
    rng = np.random.default_rng(rows)
    for share in (0.0, 0.3, 0.95):
        values = rng.standard_normal((rows, 6))
        values[rng.random(values.shape) < share] = np.nan
        values[:, 5] = np.nan
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            expected = np.nanmedian(values, axis=0)
        np.testing.assert_array_equal(column_medians(values), expected)


@given(mask=st.lists(st.booleans()))
def test_runs_are_the_groups_of_true(mask):
    """Python's own grouping of equal neighbours."""
    groups = [(value, [row for row, _ in group]) for value, group in itertools.groupby(enumerate(mask), lambda x: x[1])]
    assert runs_of(np.array(mask, dtype=bool)) == [(rows[0], rows[-1] + 1) for value, rows in groups if value]
