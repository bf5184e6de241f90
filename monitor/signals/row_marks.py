"""Marks on rows: what was counted where, so that a count up to a row cannot depend on how the stream was cut."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable


class RowMarks:
    """Absolute row numbers, one for each thing counted (a spike, a lost row), in rising order."""

    def __init__(self) -> None:
        self._rows: list[int] = []
        self._dropped = 0

    def add(self, rows: Iterable[int]) -> None:
        """Mark rows; none may lie before one that was marked already."""
        self._rows.extend(rows)

    def before(self, row: int) -> int:
        """Return how many marks lie on rows before an absolute row number."""
        return self._dropped + bisect_left(self._rows, row)

    def between(self, first: int, last: int) -> int:
        """Return how many marks lie on rows ``first`` to ``last`` (exclusive); dropped ones count no more."""
        return bisect_left(self._rows, last) - bisect_left(self._rows, first)

    def drop_before(self, row: int) -> None:
        """Forget where the marks before a row lie; ``before`` goes on counting them."""
        gone = bisect_left(self._rows, row)
        self._dropped += gone
        del self._rows[:gone]
