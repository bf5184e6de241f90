"""Causal filters with carried state: block edges cannot show in their output."""

from __future__ import annotations

import numpy as np

from monitor.signals.recursive import Running, low_pass
from monitor.signals.session_loads import Array


class LowPass:
    """Causal second-order Butterworth low-pass over the columns of a block (n, columns).

    State starts from the first row and starts anew after a gap.
    """

    def __init__(self, cutoff_Hz: float, rate_Hz: float) -> None:
        self._filter = Running(low_pass(2, cutoff_Hz, rate_Hz))

    def push(self, rows: Array, *, after_gap: bool = False) -> Array:
        """Return the filtered rows, same shape; NaN must have been filled before."""
        if after_gap and len(rows):
            self._filter.start(rows[0])
        return self._filter.push(rows)


class HoldLast:
    """Fills NaN with the last reading of the same column: a live view has no future to look into."""

    def __init__(self, columns: int) -> None:
        self._last = np.zeros(columns)

    def push(self, rows: Array) -> Array:
        """Return the rows (n, columns) without NaN; zeros before the first reading."""
        if len(rows) == 0:
            return rows
        bad = np.isnan(rows)
        if not bad.any():
            self._last = rows[-1].copy()
            return rows
        with_last = np.concatenate([self._last[None], rows])
        index = np.where(np.isnan(with_last), 0, np.arange(len(with_last))[:, None])
        filled = np.take_along_axis(with_last, np.maximum.accumulate(index, axis=0), axis=0)[1:]
        self._last = filled[-1].copy()
        return np.asarray(filled)
