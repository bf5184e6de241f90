"""Runs: the stretches of rows in which a condition holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the runs of True in a mask (n,) as (first, last), ``last`` exclusive, in order."""
    edges = np.flatnonzero(np.diff(mask, prepend=False, append=False)).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))
