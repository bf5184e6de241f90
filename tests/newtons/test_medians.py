"""Middle values against NumPy's own."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from monitor.newtons.medians import column_medians


@pytest.mark.parametrize("rows", [1, 2, 7, 40, 160])
def test_medians_are_those_of_the_library(rows: int) -> None:
    rng = np.random.default_rng(rows)
    for share in (0.0, 0.3, 0.95):
        values = rng.standard_normal((rows, 6))
        values[rng.random(values.shape) < share] = np.nan
        values[:, 5] = np.nan
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            expected = np.nanmedian(values, axis=0)
        np.testing.assert_array_equal(column_medians(values), expected)
