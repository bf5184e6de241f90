"""Marks on rows (spikes, losses), so that a count up to a row does not depend on how the stream was cut."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable


class RowMarks:
    """Absolute row numbers in ascending order, one for each spike or lost row."""

    def __init__(self) -> None:
        self._rows: list[int] = []
        self._dropped = 0

    def add(self, rows: Iterable[int]) -> None:
        """Mark rows, none of them before the last marked one."""
        self._rows.extend(rows)

    def before(self, row: int) -> int:
        """Return how many marks lie on rows before an absolute row number."""
        return self._dropped + bisect_left(self._rows, row)

    def between(self, first: int, last: int) -> int:
        """Return how many marks lie on rows ``first`` to ``last`` (exclusive); dropped ones no longer count."""
        return bisect_left(self._rows, last) - bisect_left(self._rows, first)

    def drop_before(self, row: int) -> None:
        """Drop the marks before a row; ``before`` still counts them."""
        gone = bisect_left(self._rows, row)
        self._dropped += gone
        del self._rows[:gone]
