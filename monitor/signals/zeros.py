"""Zeros read from the session itself: bar while the hands are off, platform while the feet are off or nobody is there.

Cells creep and drift by tens of grams a minute, which this morning's calibration cannot know. What a part reads while
it certainly carries nothing is its zero. The correction is always reported and always small: beyond ``OFF_ZERO_N``
nothing is corrected, and the rig must be zeroed by hand.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.allan_deviation import FEWEST_VALUES, allan_curve, judge
from monitor.runs import runs_of
from monitor.signals.row_buffer import summed
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.windows import OFF_ZERO_N, Windows, windows_of

LONGEST_ANCHOR_S = 10.0
"""A free stretch is cut into pieces no longer than this, each a reading of the zero, so that drift shows (common
practice, no source)."""

DRIFT_N_per_s = 0.0033
"""Fastest drift of one cell's zero to allow for: 20 gf a minute (common practice, no source)."""

WANDER_N = 0.5
"""Standard deviation of one cell's zero over hours: half a newton is what a class C3 cell of 2 kN may shift over some
ten kelvin (OIML R 60, least verification interval a ten-thousandth of the capacity per 5 K; from memory)."""

CREEP_REL = 0.0003
"""Share of a load that a part may go on reading after it was taken off: creep of a class C3 cell over half an hour
(OIML R 60; from memory)."""

STEP_U = 5.0
"""A zero that lies farther from the empty rig's than so many of its standard uncertainties is a load (common practice,
no source)."""

RATE_N_per_s = DRIFT_N_per_s / math.sqrt(3.0)
"""Its rate of drift as a standard deviation: anywhere within the fastest (JCGM 100:2008, 4.3.7)."""


def wandered_N2(apart_s: Array | float) -> Array:
    """Return the variance (N^2) of how far one cell's zero wanders within some seconds (its variogram).

    A stationary process with a rate of drift: covariance WANDER^2 (1 + a) exp(-a) with a = t RATE / WANDER (Matern, of
    smoothness 3/2, whose rate has the variance (RATE)^2). For short times RATE^2 t^2, for long ones 2 WANDER^2.
    """
    a = np.abs(apart_s) * RATE_N_per_s / WANDER_N
    return np.asarray(2 * WANDER_N**2 * (1 - (1 + a) * np.exp(-a)))


@dataclass(frozen=True)
class PartZero:
    """How well the zero of one part (a sum of cells) is known, at any time of the session.

    Attributes
    ----------
    cells : int
        Cells of the part; 0 where there is no such part.
    anchors_s, anchors_N2 : (k,) float
        When the zero was read in the session, and the variance of each reading; empty where it never was.
    rows_s : tuple of (n,) float
        Times of the rows that each anchor is the mean of.
    u_given_N : float
        The calibration's standard uncertainty of the part's zero, which counts where there are no anchors.
    given_s : float
        When the calibration's zero was taken, in the session's time.
    """

    cells: int = 0
    anchors_s: Array = field(default_factory=lambda: np.empty(0))
    anchors_N2: Array = field(default_factory=lambda: np.empty(0))
    rows_s: tuple[Array, ...] = ()
    u_given_N: float = 0.0
    given_s: float = 0.0

    def variances(self, t_s: Array, weight: Array) -> tuple[float, float]:
        """Return the variance (N^2) of the sum of ``weight`` (k,) times the zero's error at ``t_s`` (k,), in two parts.

        The first comes from the readings of the zero, the second from how far the zero wanders between them.

        The zero is interpolated linearly between two readings and constant beyond the first and last. How far it truly
        wanders in between has the variance of a contrast, - c V c / 2 with the variogram V.
        """
        if not self.cells or not len(t_s):
            return 0.0, 0.0
        if not len(self.anchors_s):
            times = np.append(t_s, self.given_s)
            contrast = np.append(weight, -weight.sum())
            known = (self.u_given_N * float(weight.sum())) ** 2
        else:
            leans = self._leans(t_s, weight)
            used = leans != 0
            times = np.concatenate([t_s, self.anchors_s[used]])
            contrast = np.concatenate([weight, -leans[used]])
            known = float(leans**2 @ self.anchors_N2)
        apart = wandered_N2(times[:, None] - times)
        return known, self.cells * max(0.0, -0.5 * float(contrast @ apart @ contrast))

    def overlap(self, t_s: Array) -> float:
        """Return how much of a mean over rows at ``t_s`` (n,) cancels because its zero was read in the same rows.

        1 if the zero was read over exactly these rows, whose noise then cancels; 0 if it was read elsewhere.
        It is the covariance of the mean and of its zero over the variance of the mean, for white noise.
        """
        if not self.rows_s or not len(t_s):
            return 0.0
        # A session of an hour has hundreds of readings of its zero; most holds overlap none of them.
        first_s, last_s = self._spans_s
        begin, end = int(np.searchsorted(last_s, t_s[0])), int(np.searchsorted(first_s, t_s[-1], "right"))
        if begin >= end:
            return 0.0
        leans = self._leans(t_s, np.full(len(t_s), 1.0 / len(t_s)))[begin:end]
        inside = [
            float(rows.searchsorted(t_s[-1], "right") - rows.searchsorted(t_s[0])) / len(rows)
            for rows in self.rows_s[begin:end]
        ]
        return float(leans @ np.array(inside))

    @cached_property
    def _spans_s(self) -> tuple[Array, Array]:
        """Return (k,) and (k,) the times of each anchor's first and last row."""
        return np.array([rows[0] for rows in self.rows_s]), np.array([rows[-1] for rows in self.rows_s])

    def _leans(self, t_s: Array, weight: Array) -> Array:
        """Return (k,) how much each anchor weighs in the sum, by the straight lines between them."""
        anchors = self.anchors_s
        if len(anchors) == 1:
            return np.array([weight.sum()])
        right = np.minimum(np.maximum(anchors.searchsorted(t_s), 1), len(anchors) - 1)
        left = right - 1
        begin_s = anchors[left]
        share = np.minimum(np.maximum((t_s - begin_s) / (anchors[right] - begin_s), 0.0), 1.0)
        leans = np.bincount(left, weight * (1 - share), len(anchors))
        return np.asarray(leans + np.bincount(right, weight * share, len(anchors)))


@dataclass(frozen=True)
class Zeros:
    """Zero corrections (n, channels) in N, their mean for each part, and how well each part's zero is known.

    A shift is None where the part was never free: it is as calibrated. ``bar_load_N`` and ``feet_load_N`` are the
    largest steady loads that a part carried while it seemed free: a towel on the bar, toes that rest on the platform.
    They are loads and were not taken off.
    """

    correction_N: Array
    bar_shift_N: float | None
    feet_shift_N: float | None
    bar: PartZero
    feet: PartZero
    bar_load_N: float = 0.0
    feet_load_N: float = 0.0

    def taken_off_N(self, index: tuple[int, ...], shift_N: float | None, rows: slice) -> float | None:
        """Return what was taken off some cells on the mean over rows (N); None where their zero was never read."""
        return None if shift_N is None else float(self.correction_N[rows][:, list(index)].sum(axis=1).mean())


def read_zeros(session: SessionLoads) -> Zeros:
    """Read the zeros of a session; parts that were never free keep the calibration's zero and its uncertainty."""
    windows = windows_of(session)
    correction = np.zeros_like(session.filled_N)
    empty = windows.empty & (np.abs(windows.bar_N) < OFF_ZERO_N) & (np.abs(windows.feet_N) < OFF_ZERO_N)
    rig = session.rig
    bar_shift, bar, bar_load_N = _apply(session, windows, windows.standing, empty, rig.bar_index, correction)
    feet_shift, feet, feet_load_N = _apply(
        session, windows, windows.hanging_free, empty, rig.platform_index, correction
    )
    return Zeros(correction, bar_shift, feet_shift, bar, feet, bar_load_N, feet_load_N)


def _apply(
    session: SessionLoads,
    windows: Windows,
    seems_free: NDArray[np.bool_],
    empty: NDArray[np.bool_],
    index: tuple[int, ...],
    correction: Array,
) -> tuple[float | None, PartZero, float]:
    """Write the zero of one part into ``correction``; return its mean shift, how well it is known, and what it carried.

    While the rig is empty the part certainly carries nothing. While somebody is on the other part it only seems so:
    what lies farther from the empty rig's zero than a drift may is a load, and no zero.
    """
    anchors = _anchors(windows, _inner(seems_free | empty)) if index else []
    sure = _anchors(windows, _inner(empty)) if index else []
    load_N = 0.0
    if sure:
        known = _part_zero(session, windows, sure, index)
        heaviest_N = float(windows.sum_N.max())
        sure_N = np.array([_mean_N(windows, span, index) for span in sure])
        zeros = []
        for span in anchors:
            at_s = float(windows.t_s[span[0] : span[1]].mean())
            expected_N = float(np.interp(at_s, known.anchors_s, sure_N))
            u_N = math.sqrt(sum(known.variances(np.array([at_s]), np.ones(1))) + (CREEP_REL * heaviest_N) ** 2)
            off_N = _mean_N(windows, span, index) - expected_N
            if abs(off_N) > STEP_U * u_N:
                load_N = max(load_N, off_N, key=abs)
            else:
                zeros.append(span)
        anchors = zeros
    if not anchors:
        given_s = float(session.t_s[0]) - session.known.zero_age_s
        return None, PartZero(len(index), u_given_N=session.part_u_zero_N(index), given_s=given_s), load_N
    times = np.array([windows.t_s[a:b].mean() for a, b in anchors])
    means = np.array([windows.cells_N[a:b].mean(axis=0) for a, b in anchors])
    for column in index:
        correction[:, column] = np.interp(session.t_s, times, means[:, column])
    shift = float(means[:, list(index)].sum(axis=1).mean())
    return shift, _part_zero(session, windows, anchors, index), load_N


def _mean_N(windows: Windows, span: tuple[int, int], index: tuple[int, ...]) -> float:
    """Return what a part carried on the mean over some windows."""
    return float(windows.cells_N[span[0] : span[1]][:, list(index)].sum(axis=1).mean())


def _part_zero(
    session: SessionLoads, windows: Windows, anchors: list[tuple[int, int]], index: tuple[int, ...]
) -> PartZero:
    """Return how well a part's zero is known that was read in some runs of windows."""
    times = np.array([windows.t_s[a:b].mean() for a, b in anchors])
    white_N = session.noise_N(index)
    spans = [slice(a * windows.rows, b * windows.rows) for a, b in anchors]
    errors = [_standard_error(summed(session.filled_N[rows], index), session.rate_Hz, white_N) for rows in spans]
    rows_s = tuple(session.t_s[rows] for rows in spans)
    return PartZero(len(index), times, np.array(errors) ** 2, rows_s)


def _standard_error(load_N: Array, rate_Hz: float, white_N: float) -> float:
    """Return the standard uncertainty of a mean of readings (n,): white noise, and the excess of their Allan deviation.

    ``white_N`` comes from the whole session, which has more readings.
    """
    wandering_N = judge(allan_curve(load_N, rate_Hz)).excess if len(load_N) >= FEWEST_VALUES else 0.0
    return float(np.hypot(white_N / np.sqrt(max(1, len(load_N))), wandering_N))


def _inner(free: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the free windows whose neighbours are free as well: nothing is about to be touched."""
    inner = free.copy()
    inner[1:] &= free[:-1]
    inner[:-1] &= free[1:]
    return inner


def _anchors(windows: Windows, free: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return runs of free windows as (start, end), long ones cut so that a drift within them is followed."""
    longest = max(1, int(LONGEST_ANCHOR_S / ((windows.t_s[1] - windows.t_s[0]) if len(windows.t_s) > 1 else 1.0)))
    anchors = []
    for start, end in runs_of(free):
        pieces = max(1, round((end - start) / longest))
        cuts = np.linspace(start, end, pieces + 1).astype(int).tolist()
        anchors += [(a, b) for a, b in itertools.pairwise(cuts) if b > a]
    return anchors
