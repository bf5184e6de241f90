"""Mean, scatter and median of a few values to thousands: NumPy's numbers without what it asks about axes and NaN.

On a screen's tick, eight readings long, asking costs several times what adding up does.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.signals.session_loads import Array


def mean(values: Array) -> float:
    """Return the mean of values (n,), n >= 1."""
    return float(np.add.reduce(values)) / len(values)


def scatter(values: Array, mean_of_them: float | None = None) -> float:
    """Return the standard deviation of values (n,), n >= 1, over n; their mean may be handed in."""
    away = values - (mean(values) if mean_of_them is None else mean_of_them)
    return math.sqrt(float(np.add.reduce(away * away)) / len(values))


def median(values: Array) -> float:
    """Return the median of values (n,), n >= 1, without NaN."""
    half = len(values) // 2
    parted = np.partition(values, half)
    if len(values) % 2:
        return float(parted[half])
    return 0.5 * float(parted[:half].max() + parted[half])
