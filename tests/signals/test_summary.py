"""Mean, scatter and median are NumPy's."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals.summary import mean, median, scatter


@settings(deadline=None, max_examples=100)
@given(n=st.integers(1, 300), seed=st.integers(0, 1000), digits=st.integers(1, 9))
def test_they_are_numpys_to_the_bit(n, seed, digits):
    values = np.round(700 + 30 * np.random.default_rng(seed).standard_normal(n), digits)
    assert mean(values) == values.mean()
    assert scatter(values) == values.std()
    assert median(values) == np.median(values)
    table = np.column_stack([values, values])
    assert mean(table[:, 1]) == table[:, 1].mean()
