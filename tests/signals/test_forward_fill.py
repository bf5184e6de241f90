"""Missing readings filled forward, whatever the cuts of the stream."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals.forward_fill import ForwardFill


def test_gaps_repeat_the_last_reading_and_are_zero_before_the_first():
    nan = np.nan
    rows = np.array([[nan, 1.0], [2.0, nan], [nan, nan], [5.0, 6.0]])
    stage = ForwardFill(2)
    assert stage.push(rows).tolist() == [[0.0, 1.0], [2.0, 1.0], [2.0, 1.0], [5.0, 6.0]]
    assert stage.push(np.full((2, 2), nan)).tolist() == [[5.0, 6.0], [5.0, 6.0]]
    assert stage.push(np.empty((0, 2))).shape == (0, 2)


@settings(deadline=None, max_examples=50)
@given(sizes=st.lists(st.integers(0, 12), min_size=1, max_size=20), seed=st.integers(0, 1000))
def test_block_edges_never_show_in_filled_readings(sizes, seed):
    random = np.random.default_rng(seed)
    rows = random.standard_normal((sum(sizes), 3))
    rows[random.random(rows.shape) < 0.3] = np.nan
    stage, edges = ForwardFill(3), np.cumsum([0, *sizes])
    pieces = [stage.push(rows[a:b]) for a, b in itertools.pairwise(edges)]
    np.testing.assert_array_equal(np.concatenate(pieces), ForwardFill(3).push(rows))
