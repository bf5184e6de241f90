"""Statistics of a window that slides along a signal: mean, extremes, median.

The window is centred (one row further back if its length is even); beyond its ends the signal keeps its last value.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from monitor.signals.session_loads import Array


def _contiguous(signal: Array, rows: int) -> Array:
    if rows < 1:
        raise ValueError(f"The window needs one row or more, not {rows}.")
    return np.ascontiguousarray(signal, dtype=np.float64)


def mean(signal: Array, rows: int) -> Array:
    """Return (n,) the mean of the window around each row."""
    return np.asarray(ndimage.uniform_filter1d(_contiguous(signal, rows), rows, mode="nearest"))


def highest(signal: Array, rows: int) -> Array:
    """Return (n,) the largest value in the window around each row."""
    return np.asarray(ndimage.maximum_filter1d(_contiguous(signal, rows), rows, mode="nearest"))


def lowest(signal: Array, rows: int) -> Array:
    """Return (n,) the smallest value in the window around each row."""
    return np.asarray(ndimage.minimum_filter1d(_contiguous(signal, rows), rows, mode="nearest"))


def median(signal: Array, rows: int) -> Array:
    """Return (n,) the median of the window around each row; the window is odd and no longer than the signal."""
    values = _contiguous(signal, rows)
    if rows % 2 == 0 or rows > len(values):
        raise ValueError(f"The window must be odd and at most {len(values)} rows long, not {rows}.")
    return np.asarray(ndimage.median_filter(values, rows, mode="nearest"))


def near(marked: NDArray[np.bool_], rows: int) -> NDArray[np.bool_]:
    """Return (n,) True within ``rows`` rows of a marked row."""
    return highest(np.asarray(marked, dtype=np.float64), 2 * rows + 1) > 0
