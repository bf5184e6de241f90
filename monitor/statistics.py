"""Mean, standard deviation, median, and their robust counterparts, each defined once.

For a few readings NumPy's own functions spend several times as long on questions about axes and NaN as on adding up,
and a live view asks twenty times a second; the numbers are NumPy's to the bit.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MAD_TO_SD = 1.4826
"""Standard deviation of normally distributed values over their median absolute deviation: 1 / quantile(3/4)
(P. J. Rousseeuw and C. Croux, Journal of the American Statistical Association 88 (1993) 1273-1283, from memory)."""

OUTLIER_SDS = 8.0
"""A reading further from the median than this many robust standard deviations is an outlier (common practice, no
source)."""


def mean(values: Array) -> float:
    """Return the mean of values (n,), n >= 1."""
    return float(np.add.reduce(values)) / len(values)


def standard_deviation(values: Array, mean_of_values: float | None = None) -> float:
    """Return the standard deviation of values (n,), n >= 1, over n; their mean may be handed in."""
    deviations = values - (mean(values) if mean_of_values is None else mean_of_values)
    return math.sqrt(float(np.add.reduce(deviations * deviations)) / len(values))


def median(values: Array) -> float:
    """Return the median of values (n,), n >= 1, without NaN."""
    half = len(values) // 2
    partitioned = np.partition(values, half)
    if len(values) % 2:
        return float(partitioned[half])
    return 0.5 * float(partitioned[:half].max() + partitioned[half])


def robust_sd(values: Array, centre: float | None = None) -> float:
    """Return the standard deviation of values (n,), n >= 1, by their median absolute deviation from ``centre``.

    The centre is their median if left out.
    """
    return MAD_TO_SD * median(np.abs(values - (median(values) if centre is None else centre)))


def inliers(values: Array, least_sd: float) -> NDArray[np.bool_]:
    """Return (n,) True within ``OUTLIER_SDS`` robust standard deviations of the median; NaN is an outlier.

    ``least_sd`` is the smallest standard deviation to assume, in the unit of the values: a converter that repeats one
    count has a median absolute deviation of 0.
    """
    known = values[~np.isnan(values)]
    if not len(known):
        return np.zeros(len(values), dtype=bool)
    centre = median(known)
    return np.asarray(np.abs(values - centre) <= OUTLIER_SDS * max(robust_sd(known, centre), least_sd))


def column_medians(rows: Array) -> Array:
    """Return the median of each column's readings that did not fail (NaN).

    Parameters
    ----------
    rows : (n, columns) float

    Returns
    -------
    (columns,) float, in the unit of ``rows``; NaN where a column has no reading.
    """
    known = len(rows) - np.isnan(rows).sum(axis=0)
    # NaN is sorted to the end.
    ordered = np.sort(rows, axis=0)
    column = np.arange(rows.shape[1])
    # A column without readings takes its last row, which is NaN.
    low, high = ordered[(known - 1) // 2, column], ordered[np.minimum(known // 2, len(rows) - 1), column]
    return np.asarray((low + high) / 2)
