"""Two periods compared: the difference of means with its interval, and how large it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

CONFIDENCE = 0.95
LEAST = 3


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a measure changed from one period to another.

    Attributes
    ----------
    before, after : float or None
        Means; None without values.
    n_before, n_after : int
    difference : float or None
        After minus before.
    low, high : float or None
        Interval of the difference at 95 %; None for fewer than three values in a period.
    effect : float or None
        The difference in pooled standard deviations, corrected for few values.
    words : str
    """

    before: float | None
    after: float | None
    n_before: int
    n_after: int
    difference: float | None
    low: float | None
    high: float | None
    effect: float | None
    words: str


def compare_periods(before: Sequence[float], after: Sequence[float], unit: str = "") -> Comparison:
    """Return the comparison of two samples of one measure.

    Interval: B. L. Welch, Biometrika 34 (1947) 28-35, unequal variances, degrees of freedom after Welch and
    Satterthwaite. Effect: L. V. Hedges, Journal of Educational Statistics 6 (1981) 107-128 (both from memory).
    """
    x, y = np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    mean_x, mean_y = (float(v.mean()) if len(v) else None for v in (x, y))
    tail = f" {unit}" if unit else ""
    if mean_x is None or mean_y is None:
        return Comparison(mean_x, mean_y, len(x), len(y), None, None, None, None, "One of the periods holds nothing.")
    difference = mean_y - mean_x
    if len(x) < LEAST or len(y) < LEAST:
        words = f"{difference:+.3g}{tail}; too few to say more ({len(x)} and {len(y)})."
        return Comparison(mean_x, mean_y, len(x), len(y), difference, None, None, None, words)
    var_x, var_y = float(x.var(ddof=1)) / len(x), float(y.var(ddof=1)) / len(y)
    if var_x + var_y == 0:
        words = f"{difference:+.3g}{tail}; no spread at all, so nothing can be said of chance."
        return Comparison(mean_x, mean_y, len(x), len(y), difference, None, None, None, words)
    freedom = (var_x + var_y) ** 2 / (var_x**2 / (len(x) - 1) + var_y**2 / (len(y) - 1))
    reach = float(stdtrit(freedom, 0.5 * (1 + CONFIDENCE)) * np.sqrt(var_x + var_y))
    both = len(x) + len(y) - 2
    pooled = np.sqrt(((len(x) - 1) * x.var(ddof=1) + (len(y) - 1) * y.var(ddof=1)) / both)
    effect = float(difference / pooled * (1 - 3 / (4 * both - 1)))
    low, high = difference - reach, difference + reach
    clear = "a change" if low > 0 or high < 0 else "no clear change"
    words = f"{difference:+.3g}{tail} ({low:+.3g} to {high:+.3g} at 95 %): {clear}."
    return Comparison(mean_x, mean_y, len(x), len(y), difference, low, high, effect, words)
