"""The peak of the bar's load, and whether the readings resolve it."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from monitor.signals import sliding
from monitor.signals.session_loads import Array

PEAK_S = 0.0125
"""A peak is a mean over this time: no converter of 80 readings per second resolves a shorter one."""

RESOLVED_REL = 0.005
"""Above this relative standard uncertainty a peak counts as not resolved: two of them are one per cent (common
practice, no source)."""

HIGH = 0.9
"""How high a reading must be, as a share of the highest, for the peak to lie beside it (common practice, no
source)."""

LEAST_SIDE = 0.1
"""The load comes up to a peak and goes down from it: the flatter side is so steep at least, as a share of the other
(common practice, no source)."""

BENT_NOISES = 6.0
"""Where the load bends less than its noise there is nothing to find between the readings (common practice, no
source)."""

ACROSS, PLACES, KAISER_BETA = 12, 17, 5.0
"""Readings, places between two of them, and shape of the window of the interpolation (common practice, no
source)."""

RINGS_ROWS = 10
"""So many readings before and after a peak tell how the load rings there (common practice, no source)."""

SAME_REL = 1e-9
"""Rounding of a mean of two readings, with room."""

REACH = 2
"""A missing reading matters if it lies at most so many rows from the peak (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Peak:
    """A peak of the load and its standard uncertainty (N), that of the cells' spans left out."""

    load_N: float
    u_N: float

    @property
    def resolved(self) -> bool:
        """Say whether the readings are dense enough for this peak."""
        return self.u_N <= RESOLVED_REL * self.load_N


def peak_of(t_s: Array, cells_N: Array, onset_s: float, release_s: float, rate_Hz: float, noise_N: float = 0.0) -> Peak:
    """Return the largest mean of the bar's load over ``PEAK_S``, wherever that begins, between the edges.

    At 80 readings per second that is a reading's own interval; slower readings are means over a longer one. Readings
    fall beside the peak: around the highest of them the course of such means is interpolated within its band (a sinc
    under Kaiser's window; J. F. Kaiser and R. W. Schafer 1980, from memory). A reading next to a step (hands that open)
    is left as it is: the step would ring.

    What rings near half of the sampling rate may as well ring above it, so its course between the readings is not
    known: an amplitude ``a`` at an unknown phase, whose standard uncertainty is ``a / sqrt(2)`` (arcsine distribution;
    JCGM 101:2008, 6.4.6), the rms of the ringing. It is the fourth difference over 16 about the peak, which leaves half
    of the sampling rate as it is and takes off what is slow. A reading that was not taken (bridged before) is put in by
    the cubic through its four neighbours; half of its distance from the straight line is its uncertainty.

    Parameters
    ----------
    cells_N : (n, cells) float
        Loads of the bar's cells; missing readings are bridged by straight lines.
    noise_N : float
        Standard deviation of the white noise of a reading of their sum.
    """
    taken_N, straight_N = _put_in(cells_N)
    if rate_Hz > 1.5 / PEAK_S:
        rows = max(1, round(PEAK_S * rate_Hz))
        taken_N, straight_N = sliding.mean(taken_N, rows), sliding.mean(straight_N, rows)
    inside = np.flatnonzero((t_s >= onset_s) & (t_s <= release_s))
    at = int(inside[np.argmax(taken_N[inside])])
    best = float(taken_N[at])
    half = ACROSS // 2
    for row in inside[taken_N[inside] > HIGH * best].tolist():
        for left in (row - 1, row):
            near = taken_N[left - half + 1 : left + half + 1]
            if left < half or len(near) < ACROSS:
                continue
            before, first, second, after = near[half - 2 : half + 2].tolist()
            up_N, down_N = first - before, second - after
            # A step falls to one side only.
            if min(up_N, down_N) > LEAST_SIDE * max(up_N, down_N) and up_N + down_N > BENT_NOISES * noise_N:
                banded_N = float((_banded() @ near).max())
                if banded_N > best:
                    best, at = banded_N, row
    # Readings at the edges themselves are left out.
    near = taken_N[max(int(inside[0]) + 1, at - RINGS_ROWS) : min(int(inside[-1]), at + RINGS_ROWS + 1)]
    ringing_N = float(np.sqrt(np.mean(np.square(np.diff(near, 4) / 16)))) if len(near) > 4 else 0.0
    close = slice(max(0, at - REACH), at + REACH + 1)
    put_in_N = float(np.abs(taken_N[close] - straight_N[close]).max())
    return Peak(best, math.hypot(noise_N, ringing_N, put_in_N / 2))


def _put_in(cells_N: Array) -> tuple[Array, Array]:
    """Return (n,) the sum of the cells with cubics where a single reading was not taken, and as it was bridged.

    A reading that equals the mean of its neighbours to the last digit was bridged; if the load is really that straight,
    the cubic agrees.
    """
    straight_N = np.asarray(cells_N.sum(axis=1))
    if len(cells_N) < 5:
        return straight_N, straight_N
    beside_N = cells_N[1:-3] + cells_N[3:-1]
    middle_N = cells_N[2:-2]
    bridged = np.abs(beside_N / 2 - middle_N) <= SAME_REL * np.abs(middle_N)
    cubic_N = (4 * beside_N - cells_N[:-4] - cells_N[4:]) / 6
    taken_N = straight_N.copy()
    taken_N[2:-2] += np.where(bridged, cubic_N - middle_N, 0.0).sum(axis=1)
    return taken_N, straight_N


@functools.lru_cache(maxsize=1)
def _banded() -> Array:
    """Return (k, ACROSS) weights of readings for places between the two in their middle."""
    away = np.linspace(0.0, 1.0, PLACES)[:, None] - (np.arange(ACROSS) - (ACROSS // 2 - 1))
    inside = np.sqrt(np.maximum(0.0, 1.0 - (2 * away / ACROSS) ** 2))
    weights = np.sinc(away) * np.i0(KAISER_BETA * inside)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
