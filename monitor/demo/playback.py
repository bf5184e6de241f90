"""Recorded load curves played again as counts, for a virtual board."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firmware_bridge.counts import NO_READING
from monitor.demo.electronics import COUNTS_AT_CAPACITY, LARGEST_COUNT, SMALLEST_COUNT
from monitor.errors import BadInput
from monitor.newtons.calibration import Calibration, ChannelCalibration

_FULLEST_ROWS = 10_000_000


class CurvePlayback:
    """Gives a load curve as conversions, once, from its beginning.

    Rows go to the nearest instant of a regular grid; instants without a row become missed conversions, empty fields
    failed readings. Conversion 0 is ready one sample interval after the board starts sampling, so a reading that the
    curve puts at ``t_s`` gets the board time ``t_s - start_s`` after that start.

    Parameters
    ----------
    t_s : (n,) float
        Instants at which the readings were ready, ascending.
    load_N : (n, channels) float
        NaN: the reading failed.
    names : sequence of str
        Channels, in the order of the columns.
    rate_Hz : float or None
        Conversions per second; None: from the median distance of the rows.
    capacity_N : float
        Capacity of the imagined cells, 2 mV/V at 24 bits.

    Attributes
    ----------
    calibration : Calibration
        Turns the counts back into the newtons, to half a count.
    rate_Hz : float
    start_s : float
        Instant of the curve at which the board's sampling starts; 0 for a curve whose first row is at one interval.
    conversions_left : int

    Raises
    ------
    BadInput
        The times do not fit a regular grid, or shapes do not match.
    """

    def __init__(
        self,
        t_s: ArrayLike,
        load_N: ArrayLike,
        names: Sequence[str],
        *,
        rate_Hz: float | None = None,
        capacity_N: float = 6000.0,
    ) -> None:
        times = np.asarray(t_s, dtype=float)
        loads = np.asarray(load_N, dtype=float)
        if times.ndim != 1 or loads.shape != (len(times), len(names)) or len(times) < 2:
            raise _bad(f"A curve of {len(times)} times, loads of shape {loads.shape} and {len(names)} names.")
        if not (np.isfinite(times).all() and (np.diff(times) > 0).all()):
            raise _bad("The curve's times do not ascend.")
        self.rate_Hz = _rate_of(times) if rate_Hz is None else rate_Hz
        place = np.rint(times * self.rate_Hz).astype(np.int64)
        # A curve that starts late by more than a lost row or two starts with its first row.
        first = 1 if 1 <= place[0] <= self.rate_Hz else int(place[0])
        row = place - first
        if row[-1] > _FULLEST_ROWS or (np.diff(row) < 1).any():
            raise _bad(f"The curve's rows do not fit a grid of {self.rate_Hz:g} a second.")
        self.start_s = (first - 1) / self.rate_Hz
        counts_per_N = COUNTS_AT_CAPACITY / capacity_N
        counts = np.clip(np.rint(np.nan_to_num(loads) * counts_per_N), SMALLEST_COUNT, LARGEST_COUNT).astype(np.int32)
        counts[np.isnan(loads)] = NO_READING
        self._counts = np.zeros((int(row[-1]) + 1, len(names)), dtype=np.int32)
        self._counts[row] = counts
        self._missed = np.ones(len(self._counts), dtype=bool)
        self._missed[row] = False
        self._given = 0
        half_count = 12**-0.5
        self.calibration = Calibration(
            tuple(ChannelCalibration(name, 0.0, 1 / counts_per_N, half_count) for name in names), "played curve"
        )

    @property
    def conversions_left(self) -> int:
        """How many conversions are still to come."""
        return len(self._counts) - self._given

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed; fewer at the end."""
        part = slice(self._given, self._given + n)
        self._given = min(self._given + n, len(self._counts))
        return self._counts[part], self._missed[part]


def _rate_of(t_s: NDArray[np.float64]) -> float:
    """Return the rate of a grid with jitter and holes: the median distance numbers the rows, a line fits the rate."""
    distance = float(np.median(np.diff(t_s)))
    steps = np.concatenate(([0], np.cumsum(np.rint(np.diff(t_s) / distance))))
    if steps[-1] < 1:
        raise _bad("The curve's times do not ascend.")
    slope, _ = np.polyfit(steps, t_s, 1)
    return float(1 / slope)


def _bad(what: str) -> BadInput:
    return BadInput(
        what=what,
        means="It cannot be played as the conversions of a board.",
        do="Give ascending times on one regular grid, and one load for each time and name.",
    )


def curve_conversions(
    t_s: ArrayLike, load_N: ArrayLike, names: Sequence[str], *, rate_Hz: float | None = None
) -> CurvePlayback:
    """Return a playback whose ``conversions`` and ``rate_Hz`` a ``VirtualBoard`` takes, see ``CurvePlayback``."""
    return CurvePlayback(t_s, load_N, names, rate_Hz=rate_Hz)
