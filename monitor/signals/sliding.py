"""Statistics of a window that slides along a signal: mean, extremes, median.

The window is centred (one row further back when its length is even), and beyond its ends the signal stays what it was.
The loops are SciPy's compiled ones, loaded by themselves where that works, through ``scipy.ndimage`` where it does not.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signals.compiled import compiled_module
from monitor.signals.session_loads import Array

Loop = Callable[[Array, int], Array]
_NEAREST = 0
"""SciPy's number for a signal that stays what it was beyond its ends."""


@dataclass(frozen=True)
class Loops:
    """What slides: each takes a signal (n,) and the window's rows, and returns (n,)."""

    mean: Loop
    highest: Loop
    lowest: Loop
    median: Loop


def front_door_loops() -> Loops:
    """Return the loops through ``scipy.ndimage``."""
    from scipy import ndimage

    return Loops(
        mean=lambda signal, rows: np.asarray(ndimage.uniform_filter1d(signal, rows, mode="nearest")),
        highest=lambda signal, rows: np.asarray(ndimage.maximum_filter1d(signal, rows, mode="nearest")),
        lowest=lambda signal, rows: np.asarray(ndimage.minimum_filter1d(signal, rows, mode="nearest")),
        median=lambda signal, rows: np.asarray(ndimage.median_filter(signal, rows, mode="nearest")),
    )


def _plain_loops() -> Loops | None:
    """Return the loops without the package around them; None where one is missing or not as it was."""
    images, ranks = compiled_module("ndimage", "_nd_image"), compiled_module("ndimage", "_rank_filter_1d")
    if images is None or ranks is None:
        return None

    def mean(signal: Array, rows: int) -> Array:
        out = np.empty(len(signal))
        images.uniform_filter1d(signal, rows, 0, out, _NEAREST, 0.0, 0)
        return out

    def extreme(signal: Array, rows: int, *, lowest: bool) -> Array:
        out = np.empty(len(signal))
        images.min_or_max_filter1d(signal, rows, 0, out, _NEAREST, 0.0, 0, int(lowest))
        return out

    def median(signal: Array, rows: int) -> Array:
        out = np.empty(len(signal))
        ranks.rank_filter(signal, rows // 2, rows, out, _NEAREST, 0.0, 0)
        return out

    loops = Loops(mean, functools.partial(extreme, lowest=False), functools.partial(extreme, lowest=True), median)
    try:
        return loops if _answer(loops) else None
    except (AttributeError, TypeError, ValueError, RuntimeError):
        return None


def _answer(loops: Loops) -> bool:
    """Say whether the loops slide as told, on a signal of five rows worked out by hand."""
    signal = np.array([3.0, 0.0, 6.0, 9.0, 12.0])
    return (
        np.allclose(loops.mean(signal, 3), [2.0, 3.0, 5.0, 9.0, 11.0], rtol=1e-12)
        and loops.highest(signal, 3).tolist() == [3.0, 6.0, 9.0, 12.0, 12.0]
        and loops.lowest(signal, 3).tolist() == [0.0, 0.0, 0.0, 6.0, 9.0]
        and loops.median(signal, 3).tolist() == [3.0, 3.0, 6.0, 9.0, 12.0]
    )


@functools.cache
def loops() -> Loops:
    """Return the loops in use."""
    return _plain_loops() or front_door_loops()


def _whole(signal: Array, rows: int) -> Array:
    if rows < 1:
        raise ValueError(f"A window of one row or more is wanted, not of {rows}.")
    return np.ascontiguousarray(signal, dtype=np.float64)


def mean(signal: Array, rows: int) -> Array:
    """Return (n,) the mean of the window around each row."""
    whole = _whole(signal, rows)
    return loops().mean(whole, rows) if len(whole) else whole


def highest(signal: Array, rows: int) -> Array:
    """Return (n,) the largest value in the window around each row."""
    whole = _whole(signal, rows)
    return loops().highest(whole, rows) if len(whole) else whole


def lowest(signal: Array, rows: int) -> Array:
    """Return (n,) the smallest value in the window around each row."""
    whole = _whole(signal, rows)
    return loops().lowest(whole, rows) if len(whole) else whole


def median(signal: Array, rows: int) -> Array:
    """Return (n,) the median of the window around each row; the window is odd and no longer than the signal."""
    whole = _whole(signal, rows)
    if rows % 2 == 0 or rows > len(whole):
        raise ValueError(f"An odd window of at most {len(whole)} rows is wanted, not of {rows}.")
    return loops().median(whole, rows) if rows > 1 else whole.copy()


def near(marked: NDArray[np.bool_], rows: int) -> NDArray[np.bool_]:
    """Return (n,) True within ``rows`` rows of a marked row."""
    return highest(np.asarray(marked, dtype=np.float64), 2 * rows + 1) > 0
