"""Creep of a cell on the empty rig over the half hour of OIML R 60, and over its last ten minutes.

The limits are for a cell under a load near its capacity; here they serve as marks for the empty rig, whose zero must
be steady too. Temperature acts in the same way: a cell beyond a mark may be a cell in the sun.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monitor.health.verdict import Outcome, Verdict
from monitor.newtons.calibrating.limits import allowed_creep_N, allowed_late_creep_N
from monitor.statistics import inliers

Array = NDArray[np.float64]

HALF_HOUR_S, LATE_FROM_S = 1800.0, 1200.0
"""OIML R 60-1:2021, 5.5.1: thirty minutes, and what happens between the twentieth and the thirtieth."""

WINDOW_S = 60.0
"""Readings are compared as means over a minute, so that noise does not pass for creep (common practice, no source)."""

GRADE, INTERVALS = "C", 1000
"""Class of accuracy and number of intervals that a rig should at least reach (common practice, no source)."""


def covers_half_hour(seconds: float) -> bool:
    """Say whether a watch was long enough for the limits to be applied."""
    return seconds >= HALF_HOUR_S - 1


def shorter_words(seconds: float) -> str:
    """Return a remark for a watch that was too short; empty otherwise."""
    if covers_half_hour(seconds):
        return ""
    return f" {seconds / 60:.2g} min are shorter than the 30 min of OIML R 60: its creep limits were not applied."


def _mean_at(load_N: Array, rate_Hz: float, end_s: float) -> tuple[float, float]:
    """Return the mean (N) of the minute that ends at a time, and its standard uncertainty from white noise."""
    piece = load_N[round((end_s - WINDOW_S) * rate_Hz) : round(end_s * rate_Hz)]
    piece = piece[~np.isnan(piece)]
    if len(piece) < 0.5 * WINDOW_S * rate_Hz:
        return math.nan, math.nan
    piece = piece[inliers(piece, 1e-12)]
    return float(piece.mean()), float(np.std(np.diff(piece)) / math.sqrt(2 * len(piece)))


def creep_verdict(name: str, load_N: Array, rate_Hz: float, rated_N: float | None) -> Verdict:
    """Compare a cell's readings (n,) N of half an hour on the empty rig with the creep limits."""
    key, title = f"creep:{name}", f"Half an hour of {name}"
    seconds = len(load_N) / rate_Hz
    if rated_N is None:
        return Verdict(key, title, "not_told", "Its rated load is not entered.", "Write rated_N into rig.toml.")
    ends = [WINDOW_S * n for n in range(1, round(HALF_HOUR_S / WINDOW_S) + 1)]
    means = [_mean_at(load_N, rate_Hz, min(end_s, seconds)) for end_s in ends]
    start_N, u_start_N = means[0]
    changes = [(mean_N - start_N, math.hypot(u_N, u_start_N)) for mean_N, u_N in means[1:]]
    late_from, last = means[round(LATE_FROM_S / WINDOW_S) - 1], means[-1]
    late_N, u_late_N = last[0] - late_from[0], math.hypot(last[1], late_from[1])
    if not all(math.isfinite(change_N) for change_N, _ in changes):
        return Verdict(key, title, "not_told", "More than half of the readings of a minute are missing.")
    whole_N, u_whole_N = max(changes, key=lambda one: abs(one[0]))
    limit_N = allowed_creep_N(0.0, rated_N, grade=GRADE, intervals=INTERVALS)
    late_limit_N = allowed_late_creep_N(0.0, rated_N, grade=GRADE, intervals=INTERVALS)
    outcome: Outcome = "good"
    if abs(whole_N) - 2 * u_whole_N > limit_N or abs(late_N) - 2 * u_late_N > late_limit_N:
        outcome = "doubtful"
    words = (
        f"{whole_N:+.2f} N in 30 min (limit {limit_N:.2f} N), {late_N:+.2f} N from the 20th to the 30th minute "
        f"(limit {late_limit_N:.2f} N); OIML R 60, class {GRADE} with {INTERVALS} intervals."
    )
    do = (
        ""
        if outcome == "good"
        else "Let everything warm up, keep sun and draught away, watch again; else a better cell."
    )
    numbers = {
        "change_30_min_N": whole_N,
        "u_30_min_N": u_whole_N,
        "limit_30_min_N": limit_N,
        "change_20_to_30_min_N": late_N,
        "u_20_to_30_min_N": u_late_N,
        "limit_20_to_30_min_N": late_limit_N,
        "seconds": seconds,
    }
    return Verdict(key, title, outcome, words, do, numbers)
