"""Bodyweight from the stay itself: what bar and platform carry together while the body is quiet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.signals.stay import Array, Stay
from monitor.signals.windows import PRESENT_N, Windows, windows_of

FEWEST_STANDING = 3
FEWEST_HANGING = 6
SAME_BODY = 0.006
"""Hang and stance are one body within this; a larger difference is a third support or a bad cell."""

Source = Literal["given", "standing", "hang"]


@dataclass(frozen=True, slots=True)
class Bodyweight:
    """Bodyweight and its standard uncertainty in N, and where it is from."""

    bodyweight_N: float
    u_N: float
    source: Source


def read_bodyweight(stay: Stay) -> Bodyweight | None:
    """Weigh the person of a stay whose zeros are corrected; None when nothing was quiet long enough.

    Standing quietly counts most: nothing but the platform carries the body then. Quiet hanging adds the bar cells'
    independent spans to the average, where it agrees. A rig without a platform cannot know what the feet take, so it
    weighs nobody.
    """
    if not stay.rig.has_platform:
        return None
    windows = windows_of(stay)
    heavy = windows.quiet & (windows.sum_N > PRESENT_N)
    u_platform, u_bar = stay.part_u_rel_span(stay.rig.platform_index), stay.part_u_rel_span(stay.rig.bar_index)
    stance = heavy & (windows.feet_N > 0.85 * windows.sum_N)
    hang = heavy & (windows.bar_N > 0.85 * windows.sum_N)
    standing = _level(windows, stance, FEWEST_STANDING)
    if standing is None:
        mixed = _level(windows, heavy, FEWEST_HANGING)
        return None if mixed is None else Bodyweight(mixed[0], float(np.hypot(mixed[1], mixed[0] * u_bar)), "hang")
    level_N, u_level_N = standing
    near = hang & (np.abs(windows.sum_N / level_N - 1) < SAME_BODY)
    hanging = _level(windows, near, FEWEST_HANGING)
    u_standing = float(np.hypot(u_level_N, level_N * u_platform))
    if hanging is None or near.sum() < 0.5 * hang.sum():
        return Bodyweight(level_N, u_standing, "standing")
    u_hanging = float(np.hypot(hanging[1], hanging[0] * u_bar))
    weights = np.array([u_standing, u_hanging]) ** -2.0
    mean_N = float((weights @ np.array([level_N, hanging[0]])) / weights.sum())
    return Bodyweight(mean_N, float(weights.sum() ** -0.5), "standing")


def _level(windows: Windows, mask: NDArray[np.bool_], fewest: int) -> tuple[float, float] | None:
    """Return the level (N) on which ``fewest`` windows or more agree, and its standard uncertainty; else None."""
    if mask.sum() < fewest:
        return None
    values = windows.sum_N[mask]
    centre = _densest_half(values)
    near = values[np.abs(values - centre) < max(2.0, 0.004 * centre)]
    if len(near) < fewest:
        return None
    return float(near.mean()), float(np.std(near) / np.sqrt(len(near)))


def _densest_half(values: Array) -> float:
    """Return the middle of the shortest interval that holds half of the values (the half-sample mode's first step).

    Bickel and Fruehwirth, On a fast, robust estimator of the mode, Computational Statistics and Data Analysis 50
    (2006) 3500-3530 (citation from memory).
    """
    ordered = np.sort(values)
    half = (len(ordered) + 1) // 2
    widths = ordered[half - 1 :] - ordered[: len(ordered) - half + 1]
    start = int(np.argmin(widths))
    return float(np.median(ordered[start : start + half]))
