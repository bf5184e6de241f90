"""Stores of rows and marks: absolute numbers survive whatever is appended and dropped."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.signals.row_buffer import FIRST_ROOM, Rows, summed
from monitor.signals.row_marks import RowMarks


@settings(deadline=None)
@given(steps=st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 12_000)), min_size=1, max_size=12))
def test_rows_are_found_by_their_number_after_any_appending_and_dropping(steps):
    rows, end, first = Rows(2), 0, 0
    for count, drop in steps:
        numbers = np.arange(end, end + count, dtype=float)
        rows.append(numbers, np.column_stack([numbers, -numbers]))
        end += count
        rows.drop_before(drop)
        first = max(first, min(drop, end))
        assert (rows.first, rows.end) == (first, end)
        assert rows.t_s(0, end + 5).tolist() == list(range(first, end))
        middle = (first + end) // 2
        assert rows.load(middle, end)[:, 1].tolist() == [-float(n) for n in range(middle, end)]
        assert len(rows.load(end, first)) == 0


def test_the_store_grows_beyond_its_first_room_without_keeping_what_was_dropped():
    rows = Rows(1)
    for n in range(40):
        rows.append(np.full(FIRST_ROOM // 4, float(n)), np.zeros((FIRST_ROOM // 4, 1)))
        rows.drop_before(rows.end - FIRST_ROOM // 4)
    assert rows.t_s(0, rows.end).tolist() == [39.0] * (FIRST_ROOM // 4)
    assert len(rows._t_s) <= 2 * FIRST_ROOM


@settings(deadline=None)
@given(
    marks=st.lists(st.integers(0, 60), max_size=30).map(sorted),
    drop=st.integers(0, 70),
    row=st.integers(0, 70),
    last=st.integers(0, 70),
)
def test_marks_are_counted_before_and_between_rows(marks, drop, row, last):
    counted = RowMarks()
    counted.add(marks)
    counted.drop_before(drop)
    stored = [m for m in marks if m >= drop]
    assert counted.between(row, last) == sum(row <= m < last for m in stored) - sum(last <= m < row for m in stored)
    if row >= drop:
        assert counted.before(row) == sum(m < row for m in marks)


@given(rows=st.integers(1, 9), columns=st.integers(1, 12), seed=st.integers(0, 1000))
@settings(deadline=None, max_examples=40)
def test_a_sum_does_not_depend_on_the_rows_beside_it(rows, columns, seed):
    load = 1e3 * np.random.default_rng(seed).standard_normal((rows, columns))
    index = range(columns)
    assert summed(load, index).tolist() == [summed(load[n : n + 1], index)[0] for n in range(rows)]
    np.testing.assert_allclose(summed(load, index), load.sum(axis=1), rtol=1e-9, atol=1e-9)
