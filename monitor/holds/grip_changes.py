"""Changes of hands: the load goes from one side of the bar to the other and stays there."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import crossing_s
from monitor.runs import runs_of
from monitor.signals import sliding
from monitor.signals.session_loads import Array

MEDIAN_S = 2.0
MEAN_S = 0.3
HELD_S = 1.5
"""A side carries by the median over the first; the instant is that of means over the second; a change counts only
if the load stays on the side for the third (common practice, no source)."""

ONE_SIDED = 0.15
"""Half-difference of the sides as a share of bodyweight beyond which one hand is said to carry (two hands side by
side balance to a few per cent; one hand at 0.2 m from the middle of a 1.10 m bar gives 0.36). Common practice, no
source."""


def _staying_sides(side: NDArray[np.int_], share: Array, rows: int) -> NDArray[np.int_]:
    """Return the sides (n,), undecided where the load never stays on one for ``rows`` in a row.

    A body that sways from side to side after a slip loads both in turn, each for less than a second.
    """
    staying = np.zeros_like(side)
    edges = [0, *(np.flatnonzero(np.diff(side)) + 1).tolist(), len(side)]
    for first, last in itertools.pairwise(edges):
        if not side[first]:
            continue
        loaded = runs_of(share[first:last] * side[first] > ONE_SIDED)
        if any(end - begin >= rows for begin, end in loaded):
            staying[first:last] = side[first]
    return staying


def grip_changes_s(t_s: Array, left_N: Array, right_N: Array, bodyweight_N: float, rate_Hz: float) -> list[float]:
    """Return the instants at which the load went over to the other side, (n,) inputs within one hold.

    A change counts if one hand carried before it and the other after it. Its instant is the last at which both sides,
    each averaged over 0.3 s, are equal before the load stays on the other side: swaying to and fro before it does not
    count.
    """
    # Odd lengths stay centred.
    rows = int(MEDIAN_S * rate_Hz) | 1
    if len(t_s) < rows:
        return []
    share = (right_N - left_N) / bodyweight_N
    smooth = sliding.median(share, rows)
    side = np.where(smooth > ONE_SIDED, 1, np.where(smooth < -ONE_SIDED, -1, 0))
    # The bar rings at a change; the mean removes the ringing.
    share = sliding.mean(share, int(MEAN_S * rate_Hz) | 1)
    decided = np.flatnonzero(_staying_sides(side, share, round(HELD_S * rate_Hz)))
    changes = []
    turns = np.flatnonzero(np.diff(side[decided]))
    for turn in turns.tolist():
        before, after = int(decided[turn]), int(decided[turn + 1])
        new = side[after]
        # Where the median settles, half of its rows lie on the new side: the crossing is near, before or after.
        end = min(len(share) - 1, after + rows // 2)
        low = max(1, before - rows // 2)
        wrong = np.flatnonzero(share[low:end] * new <= 0)
        if not len(wrong):
            continue
        row = low + int(wrong[-1]) + 1
        if row < len(share):
            changes.append(crossing_s(t_s, share, row, 0.0))
    return changes
