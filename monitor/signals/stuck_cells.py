"""Stuck cells: a converter at its rail, a broken wire or a dead driver repeats the same reading for ever.

A working cell never does: its noise spans hundreds of the converter's steps.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.runs import runs_of
from monitor.signals.session_loads import Array

STUCK_S = 0.25
"""A cell that repeats its reading exactly for so long is stuck (common practice, no source)."""

LOADED_N = 20.0
"""Cells that carry less are not judged: a coarse converter may well repeat its zero (common practice, no
source)."""


def stuck_rows(load_N: Array, rate_Hz: float) -> NDArray[np.bool_]:
    """Return (n, channels) True where a load is one of an exact repeat that lasts ``STUCK_S`` or longer.

    Only cells under load are judged: a coarse converter may well repeat its zero.
    """
    rows = max(4, round(STUCK_S * rate_Hz))
    stuck = np.zeros(load_N.shape, dtype=bool)
    if len(load_N) <= rows:
        return stuck
    same = (np.diff(load_N, axis=0) == 0.0) & (np.abs(load_N[1:]) > LOADED_N)
    for column in np.flatnonzero(same.any(axis=0)):
        for first, last in runs_of(same[:, column]):
            if last - first >= rows - 1:
                stuck[first : last + 1, column] = True
    return stuck
