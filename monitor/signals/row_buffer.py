"""A buffer of rows with absolute row numbers; old rows are dropped from the front."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from monitor.signals.session_loads import Array

FIRST_ROOM = 4096
"""Rows for which room is made at first: 50 s at 80 per second (common practice, no source)."""


def summed(load: Array, columns: Iterable[int]) -> Array:
    """Return (n,) the sum of some columns of (n, columns), added one after the other.

    NumPy's own sum along a row adds in an order that depends on the array's shape and layout, so on the stream's cuts.
    """
    total = np.zeros(len(load))
    for column in columns:
        total += load[:, column]
    return total


class Rows:
    """Rows of a record by their absolute number; appending costs no copy of what is there (amortised).

    Parameters
    ----------
    columns : int
        Number of load columns beside the time.
    """

    def __init__(self, columns: int) -> None:
        self._t_s = np.empty(FIRST_ROOM)
        self._load = np.empty((FIRST_ROOM, columns))
        self._begin = 0
        self._used = 0
        self.first = 0

    @property
    def end(self) -> int:
        """Return the absolute number of the row after the last one."""
        return self.first + self._used

    def append(self, t_s: Array, load: Array) -> None:
        """Append rows (n,) and (n, columns)."""
        n = len(t_s)
        stop = self._begin + self._used
        if stop + n > len(self._t_s):
            room = max(FIRST_ROOM, 2 * (self._used + n))
            old = slice(self._begin, stop)
            t_new, load_new = np.empty(room), np.empty((room, self._load.shape[1]))
            t_new[: self._used], load_new[: self._used] = self._t_s[old], self._load[old]
            self._t_s, self._load, self._begin = t_new, load_new, 0
            stop = self._used
        self._t_s[stop : stop + n] = t_s
        self._load[stop : stop + n] = load
        self._used += n

    def drop_before(self, row: int) -> None:
        """Forget rows before an absolute number."""
        gone = min(max(0, row - self.first), self._used)
        self._begin += gone
        self._used -= gone
        self.first += gone

    def t_s(self, first: int, last: int) -> Array:
        """Return a view of the times of rows ``first`` to ``last`` (exclusive, absolute, clipped to what is there)."""
        return self._t_s[self._slice(first, last)]

    def load(self, first: int, last: int) -> Array:
        """Return a view of the loads of rows ``first`` to ``last`` (exclusive, absolute, clipped)."""
        return self._load[self._slice(first, last)]

    def _slice(self, first: int, last: int) -> slice:
        low, high = first - self.first, last - self.first
        if not 0 <= low <= high <= self._used:
            low = min(max(low, 0), self._used)
            high = min(max(high, low), self._used)
        return slice(self._begin + low, self._begin + high)
