"""The median of a few thousand values, as NumPy's but without the search for its NaN and its axes."""

from __future__ import annotations

import numpy as np

from monitor.signals.stay import Array


def median(values: Array) -> float:
    """Return the median of values (n,), n >= 1, without NaN."""
    half = len(values) // 2
    parted = np.partition(values, half)
    if len(values) % 2:
        return float(parted[half])
    return 0.5 * float(parted[:half].max() + parted[half])
