"""Single-reading spikes, replaced per cell by the median of their neighbours; single failed readings bridged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LOOK_AHEAD = 2
"""Rows by which the output lags: a spike is known by what follows it, too."""

LEAST_SPIKE_N = 12.0
"""A spike lies at least so far from its neighbours: less is noise, or a load that changes fast (common practice, no
source)."""

QUIET_SPAN_N = 0.999 * LEAST_SPIKE_N
"""Readings that span less hold no spike; the factor leaves room for rounding."""

SPREADS = 3.0
"""And at least so many times what its neighbours span (common practice, no source)."""

Rows = NDArray[np.float64]


class Despike:
    """Stage: replaces single-row spikes by the median of their four neighbours, and bridges single failed readings.

    A spike is electrical: it affects one row of one cell and lies far outside the span of its neighbours. A blow on the
    bar or the platform reaches several cells at once and stays. The median of four neighbours is never moved by the
    spike itself (running median, J. W. Tukey, Exploratory Data Analysis, 1977, from memory).
    """

    def __init__(self, channels: int) -> None:
        self.channels = channels
        self.spikes = 0
        self.masked: list[int] = []
        """Rows of the last output in which a spike was masked, counted from its first row."""
        # Nothing was read beyond the ends of a record.
        self._nowhen: NDArray[np.float64] = np.full(LOOK_AHEAD, np.nan)
        self._nothing: Rows = np.full((LOOK_AHEAD, channels), np.nan)
        self._begin()

    def _begin(self) -> None:
        self._t_s, self._rows, self._behind = self._nowhen, self._nothing, LOOK_AHEAD

    def __len__(self) -> int:
        """Return how many rows are held back."""
        return len(self._rows) - self._behind

    def push(self, t_s: NDArray[np.float64], load_N: Rows) -> tuple[NDArray[np.float64], Rows]:
        """Return the rows that are now known to be clean, ``LOOK_AHEAD`` rows late."""
        self.masked = []
        t_s, rows = np.concatenate([self._t_s, t_s]), np.concatenate([self._rows, load_N])
        behind, end = self._behind, len(rows) - LOOK_AHEAD
        if end <= behind:
            self._t_s, self._rows = t_s, rows
            return t_s[:0], rows[:0]
        clean = self._judge(rows[behind - LOOK_AHEAD :])
        keep = end - LOOK_AHEAD
        self._t_s, self._rows, self._behind = t_s[keep:], rows[keep:], LOOK_AHEAD
        return t_s[behind:end], clean

    def flush(self) -> tuple[NDArray[np.float64], Rows]:
        """Return the rows that were held back and start anew: the record ends here."""
        out = self.push(self._nowhen, self._nothing)
        self._begin()
        return out

    def _judge(self, wide: Rows) -> Rows:
        """Return all rows but the first and last two, without spikes among their neighbours (two on each side)."""
        here = wide[LOOK_AHEAD:-LOOK_AHEAD]
        span = np.maximum.reduce(wide) - np.minimum.reduce(wide)
        if np.maximum.reduce(span) < QUIET_SPAN_N:
            # All readings span less than a spike needs, and none failed.
            return here
        n = len(here)
        at = [wide[k : k + n] for k in (0, 1, 3, 4)]
        low, high = np.fmin(at[0], at[1]), np.fmax(at[0], at[1])
        for beside in at[2:]:
            np.fmin(low, beside, out=low)
            np.fmax(high, beside, out=high)
        total = at[0] + at[1] + at[2] + at[3]
        middle = 0.5 * (total - low - high)
        holes = np.isnan(total)
        if holes.any():
            row, column = np.nonzero(holes & ~np.isnan(low))
            middle[row, column] = _middle(np.stack([beside[row, column] for beside in at]))
        limit = np.maximum(LEAST_SPIKE_N, SPREADS * (high - low))
        spiky = np.abs(here - middle) > limit
        if spiky.any():
            # A mechanical blow moves several cells in the same row: that is load, not a spike.
            spiky &= spiky.sum(axis=1, keepdims=True) == 1
            self.masked = np.nonzero(spiky)[0].tolist()
            self.spikes += len(self.masked)
        failed = np.isnan(here)
        if not spiky.any() and not failed.any():
            return here
        clean = here.copy()
        clean[spiky] = middle[spiky]
        clean[failed] = 0.5 * (at[1][failed] + at[2][failed])
        return clean


def _middle(neighbours: Rows) -> NDArray[np.float64]:
    """Return (n,) the medians of columns (4, n) of which one to three readings are there."""
    ordered = np.sort(neighbours, axis=0)  # what failed comes last
    there = np.count_nonzero(~np.isnan(neighbours), axis=0)
    return np.asarray(
        np.where(there == 1, ordered[0], np.where(there == 2, 0.5 * (ordered[0] + ordered[1]), ordered[1]))
    )
