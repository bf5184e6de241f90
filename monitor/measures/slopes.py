"""Slopes of measures through a hold, which may be signs of fatigue, each with its standard error.

They describe the curve and do not explain it: a slope is no diagnosis.
"""

from __future__ import annotations

import numpy as np

from monitor.measures.tremor import tremor_course_N
from monitor.records.hold_result import Slope, Slopes
from monitor.signals.session_loads import Array

SPAN_S = 5.0
FEWEST_SPANS = 4
"""A slope is drawn through means over 5 s, longer than a breath, of which there are four at least (common practice,
no source)."""


def slope_per_min(times_s: Array, values: Array) -> Slope | None:
    """Return the slope of values (n,) per minute and its standard error, by least squares; None for fewer than four.

    Successive values are taken for independent: spans of five seconds are longer than a breath.
    """
    known = np.isfinite(values)
    if known.sum() < FEWEST_SPANS:
        return None
    t, v = times_s[known] / 60.0, values[known]
    t = t - t.mean()
    slope = float(t @ v / (t @ t))
    rest = v - v.mean() - slope * t
    return Slope(slope, float(np.sqrt(rest @ rest / (len(v) - 2) / (t @ t))))


def slopes_of(
    t_s: Array, sum_N: Array, feet_N: Array | None, lateral_m: Array | None, bodyweight_N: float, rate_Hz: float
) -> Slopes | None:
    """Return the slopes of a stretch of a hold (n,); None when it is shorter than four spans of five seconds.

    ``assistance`` is in shares of bodyweight per minute, ``tremor_N`` and ``ripple_N`` (standard deviation of S) in
    newtons per minute, ``lateral_m`` in metres per minute.
    """
    rows = max(2, round(SPAN_S * rate_Hz))
    count = len(t_s) // rows
    if count < FEWEST_SPANS:
        return None
    used = count * rows

    def split(signal: Array) -> Array:
        return np.asarray(signal[:used].reshape(count, rows))

    times = split(t_s).mean(axis=1)
    total = split(sum_N)
    tremors = tremor_course_N(sum_N[:used], rate_Hz, rows)
    return Slopes(
        assistance=None if feet_N is None else slope_per_min(times, split(feet_N).mean(axis=1) / bodyweight_N),
        tremor_N=None if tremors is None else slope_per_min(times, tremors),
        ripple_N=slope_per_min(times, total.std(axis=1)),
        lateral_m=None if lateral_m is None else slope_per_min(times, split(lateral_m).mean(axis=1)),
    )
