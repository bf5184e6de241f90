"""Edges of holds: crossings of half of the settled level; gaps are bridged, tugs and leaning excluded.

The settled level of a hold is the median of the bar's load between its edges, and the edges are the crossings of half
of it (50 % reference level instants of IEEE Std 181-2011): each defines the other, so they are found by iteration.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from monitor.runs import runs_of
from monitor.signals.corner import corner_of, fine_steps
from monitor.signals.session_loads import Array
from monitor.statistics import median

LEAST_FRACTION = 0.25
"""A settled level below this share of bodyweight is leaning on the bar, not hanging (common practice, no source)."""

BRIDGED_S = 1.0
TUG_S = 0.3
"""Gaps shorter than the first are bridged as regrips; a load shorter than the second is a tug (design of the rig:
docs/measurement.md)."""

STANDS_S = 1.0
"""A hold stands once it has lasted so long; what the bar does before is the catch (common practice, no source)."""

LET_GO = 0.05
"""Below this share of the settled level nobody holds the bar (common practice, no source)."""

OPENED_ROWS, STOOD_ROWS = 2, 3
"""Hands that open at once take at most so many readings; before them the load stood still for so many (common
practice, no source)."""

SUDDEN = 0.5
"""From one reading to the next they lose more than this share of the load (common practice, no source)."""

STOOD = 0.02
"""A load whose readings span less than this share of it stands still (common practice, no source)."""

CHANGED_N = 3.0
"""A reading has changed that lies so far off, and farther than those that stood still span (common practice, no
source)."""

MOST_TURNS = 12
"""Level and edges settle within two or three iterations; after so many the last result stands."""

MARGIN_S = 3.0
"""How far beyond its edges a hold is looked at, at first, for the edges of another level (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Run:
    """The bar's load stays above a level from ``start_s`` to ``end_s``; rows ``first`` to ``last`` (exclusive)."""

    start_s: float
    end_s: float
    first: int
    last: int

    @property
    def length_s(self) -> float:
        """Return how long the load stays above the level."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class HoldEdges:
    """A hold between its half-level crossings; rows ``first`` to ``last`` (exclusive) lie inside of it.

    ``begins_inside`` and ``ends_inside`` say that the record begins or ends in mid-hold: that edge is not one.
    """

    onset_s: float
    release_s: float
    first: int
    last: int
    settled_N: float
    gaps: tuple[tuple[float, float], ...]
    begins_inside: bool = False
    ends_inside: bool = False

    @property
    def duration_s(self) -> float:
        """Return release minus onset."""
        return self.release_s - self.onset_s


def crossing_s(t_s: Array, load_N: Array, row: int, level_N: float) -> float:
    """Return when a load crosses a level between rows ``row - 1`` and ``row``, on the straight line between them."""
    before, after = load_N[row - 1], load_N[row]
    if after == before:
        return float(t_s[row])
    return float(t_s[row - 1] + (level_N - before) / (after - before) * (t_s[row] - t_s[row - 1]))


def bend_shift_s(t_s: Array, load_N: Array, at_s: float) -> float:
    """Return how much too early a crossing on the straight line between two readings is (s).

    Readings are means over their intervals. Against the cubic through the four readings around, the line lies too high
    by d f (1 - f) / 2 + t f (1 - f) (2 f - 1) / 12 and the means by (d + t (f - 1/2)) / 24, with d the mean of the two
    second differences, t the third and f the place between the readings (Taylor's theorem; the cubic is Lagrange's).
    Over the slope there that is a time. 0 at the record's ends and where the line is flat; half an interval at most.
    """
    row = int(np.searchsorted(t_s, at_s))
    if row < 2 or row > len(t_s) - 2:
        return 0.0
    first, before, after, last = (float(x) for x in load_N[row - 2 : row + 2])
    step_s = float(t_s[row] - t_s[row - 1])
    f = (at_s - float(t_s[row - 1])) / step_s
    d, t = 0.5 * (first - before - after + last), last - 3 * after + 3 * before - first
    above_N = f * (1 - f) * (d / 2 + t * (2 * f - 1) / 12) + (d + t * (f - 0.5)) / 24
    slope_N = after - before + d * (f - 0.5)
    if abs(above_N) >= 0.5 * abs(slope_N):
        return 0.0
    return above_N / slope_N * step_s


def let_go_s(t_s: Array, load_N: Array, row: int, level_N: float) -> float | None:
    """Return when the load falls below a level because hands open at once; None if it does not fall like that.

    Opening hands take the load from full to nothing within two readings, and the bar springs back: neither a straight
    line nor a cubic describes that. But the load was constant up to a corner between readings
    (``monitor.signals.corner``).

    Parameters
    ----------
    row : int
        The first reading below the level.
    """
    if row < OPENED_ROWS + STOOD_ROWS or row >= len(load_N):
        return None
    stood = load_N[row - OPENED_ROWS - STOOD_ROWS : row - OPENED_ROWS]
    settled_N, span_N = float(stood.mean()), float(np.ptp(stood))
    sudden = (
        float(np.max(load_N[row - OPENED_ROWS : row] - load_N[row - OPENED_ROWS + 1 : row + 1])) > SUDDEN * settled_N
    )
    if not sudden or span_N > STOOD * settled_N or level_N > (1 - STOOD) * settled_N:
        return None
    off_N = max(CHANGED_N, span_N)
    changed = np.flatnonzero(np.abs(load_N[row - OPENED_ROWS : row + 1] - settled_N) > off_N)
    first = row - OPENED_ROWS + int(changed[0])
    rate_Hz = float((len(t_s) - 1) / (t_s[-1] - t_s[0]))
    corner = corner_of(settled_N - load_N[first:], rate_Hz)
    if corner is None:
        return None
    below = corner.course_N > settled_N - level_N
    if not below.any(axis=1).all():
        return None
    step = np.argmax(below, axis=1)
    after_s = (step + 0.5) / (fine_steps(rate_Hz) * rate_Hz)
    return float(t_s[first] - 0.5 / rate_Hz + corner.share @ (corner.begins_s + after_s))


def runs_above(t_s: Array, load_N: Array, level_N: float) -> list[Run]:
    """Return the runs in which ``load_N`` (n,) lies above a level, with interpolated crossings."""
    runs = []
    for first, last in runs_of(load_N > level_N):
        start_s = crossing_s(t_s, load_N, first, level_N) if first > 0 else float(t_s[0])
        end_s = crossing_s(t_s, load_N, last, level_N) if last < len(load_N) else float(t_s[-1])
        runs.append(Run(start_s, end_s, first, last))
    return runs


def _joins(tug: Run, hold: Run, load_N: Array, settled_N: float, t_s: Array) -> bool:
    """Say whether a short run before a hold belongs to it: the hands (almost) stay on the bar in between."""
    gap = load_N[tug.last : hold.first]
    step_s = float(t_s[1] - t_s[0]) if len(t_s) > 1 else 0.0
    loose_s = step_s * float(np.count_nonzero(gap < LET_GO * settled_N))
    return loose_s < TUG_S


def _bridge(runs: list[Run], t_s: Array, load_N: Array, settled_N: float) -> list[list[Run]]:
    """Group runs into sessions on the bar; tugs (short runs) neither bridge nor start one by themselves."""
    long = [r for r in runs if r.length_s >= TUG_S]
    groups: list[list[Run]] = []
    for run in long:
        if groups and run.start_s - groups[-1][-1].end_s < BRIDGED_S:
            groups[-1].append(run)
        else:
            groups.append([run])
    for tug in reversed([r for r in runs if r.length_s < TUG_S]):
        for group in groups:
            if group[0].start_s <= tug.start_s <= group[-1].end_s:
                group.append(tug)
                group.sort(key=lambda r: r.start_s)
                break
            before = 0 <= group[0].start_s - tug.end_s < BRIDGED_S
            if before and _joins(tug, group[0], load_N, settled_N, t_s):
                group.insert(0, tug)
                break
    return groups


def regrip_gaps(edges: HoldEdges) -> list[tuple[float, float]]:
    """Return the gaps of a hold that are regrips: those after it stood.

    A jump to the bar rebounds within its first second, on hands that stay closed.
    """
    return [(start_s, end_s) for start_s, end_s in edges.gaps if start_s - edges.onset_s > STANDS_S]


def find_holds(t_s: Array, bar_N: Array, bodyweight_N: float) -> list[HoldEdges]:
    """Return the holds in a bar load (n,), in order of time.

    Parameters
    ----------
    t_s : (n,) float, s
    bar_N : (n,) float, N, no NaN.
    bodyweight_N : float, N
        Distinguishes hanging from leaning; the edges themselves do not depend on it.
    """
    holds: dict[tuple[int, int], HoldEdges] = {}
    first_level_N = LEAST_FRACTION * bodyweight_N
    groups = _bridge(runs_above(t_s, bar_N, first_level_N), t_s, bar_N, 2 * first_level_N)
    todo = [(group[0].first, group[-1].last, 0) for group in groups]
    examined: set[tuple[int, int]] = set()
    while todo:
        first, last, turn = todo.pop()
        if (first, last) in examined:
            continue
        examined.add((first, last))
        settled_N = median(bar_N[first:last])
        if settled_N < first_level_N:
            continue
        for group in _groups_near(t_s, bar_N, first, last, settled_N):
            span = (group[0].first, group[-1].last)
            if span == (first, last) or turn >= MOST_TURNS:
                holds[span] = _edges(group, settled_N, t_s, bar_N)
            else:
                todo.append((*span, turn + 1))
    return _without_nested(sorted(holds.values(), key=lambda h: h.onset_s))


def _groups_near(t_s: Array, bar_N: Array, first: int, last: int, settled_N: float) -> list[list[Run]]:
    """Return the groups of runs above half of a level that overlap rows ``first`` to ``last``."""
    step_s = float(t_s[-1] - t_s[0]) / max(1, len(t_s) - 1)
    margin = max(1, int(MARGIN_S / step_s)) if step_s > 0 else len(t_s)
    low = max(0, first - margin)
    # The margin grows until the stretch begins and ends below the level, or at the record's ends.
    while low > 0 and bar_N[low] > settled_N / 2:
        low = max(0, low - margin)
    high = min(len(t_s), last + margin)
    while high < len(t_s) and bar_N[high - 1] > settled_N / 2:
        high = min(len(t_s), high + margin)
    part = slice(low, high)
    groups = _bridge(runs_above(t_s[part], bar_N[part], settled_N / 2), t_s[part], bar_N[part], settled_N)
    moved = [[Run(r.start_s, r.end_s, r.first + low, r.last + low) for r in group] for group in groups]
    return [g for g in moved if g[0].first < last and g[-1].last > first]


def _edges(group: list[Run], settled_N: float, t_s: Array, bar_N: Array) -> HoldEdges:
    gaps = tuple((a.end_s, b.start_s) for a, b in itertools.pairwise(group))
    first, last = group[0].first, group[-1].last
    onset_s, release_s = (at_s + bend_shift_s(t_s, bar_N, at_s) for at_s in (group[0].start_s, group[-1].end_s))
    opened_s = let_go_s(t_s, bar_N, last, settled_N / 2)
    if opened_s is not None:
        release_s = opened_s
    return HoldEdges(onset_s, release_s, first, last, settled_N, gaps, first == 0, last == len(t_s))


def _without_nested(holds: list[HoldEdges]) -> list[HoldEdges]:
    """Return the holds without any that lies inside of another (two levels of one session)."""
    apart: list[HoldEdges] = []
    for hold in sorted(holds, key=lambda h: -h.duration_s):
        if all(hold.release_s <= k.onset_s or hold.onset_s >= k.release_s for k in apart):
            apart.append(hold)
    return sorted(apart, key=lambda h: h.onset_s)
