"""Missing readings filled forward: a live view has no future to interpolate from."""

from __future__ import annotations

import numpy as np

from monitor.signals.session_loads import Array


class ForwardFill:
    """Fills NaN with the last reading of the same column."""

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
