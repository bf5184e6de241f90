"""Causal filters with carried state: block edges cannot show in their output."""

from __future__ import annotations

import numpy as np

from monitor.signals.stay import Array


class LowPass:
    """Causal second-order Butterworth low-pass over the columns of a block (n, columns).

    State starts from the first row and starts anew after a gap.
    """

    def __init__(self, cutoff_Hz: float, rate_Hz: float) -> None:
        from scipy.signal import butter, sosfilt, sosfilt_zi

        self._sosfilt = sosfilt
        self._sos = butter(2, cutoff_Hz, fs=rate_Hz, output="sos")
        self._rest = sosfilt_zi(self._sos)
        self._z: Array | None = None

    def push(self, rows: Array, *, after_gap: bool = False) -> Array:
        """Return the filtered rows, same shape; NaN must have been filled before."""
        if len(rows) == 0:
            return rows
        if self._z is None or after_gap:
            self._z = self._rest[:, :, None] * rows[0]
        out, self._z = self._sosfilt(self._sos, rows, axis=0, zi=self._z)
        return np.asarray(out)


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
