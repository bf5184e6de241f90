"""One reading: waits until the load is still, averages until the mean is good enough, or says why it never will be."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.newtons.allan_deviation import Stability, allan_curve, judge
from monitor.newtons.least_squares import polynomial_fit
from monitor.statistics import MAD_TO_SD, OUTLIER_SDS, column_medians

Array = NDArray[np.float64]
Phase = Literal["settling", "averaging", "done", "restless", "saturated"]

SETTLE_S = 3.0
"""Readings of this long after a load was placed do not count (common practice, no source)."""

WINDOW_S, CHUNK_S = 2.0, 0.25
"""Unrest is the spread of chunk means within a window (common practice, no source)."""

STILL_SHARE = 5e-4
"""A load is still while that spread (standard deviation) is below this share of it (common practice, no source)."""

SHORTEST_S, LONGEST_S = 8.0, 60.0
"""Shortest and longest averaging time (common practice, no source)."""

PATIENCE_S = 90.0
"""A load that was not still for the shortest time within this is given up (common practice, no source)."""

SATURATED_COUNT = 2**23 - 1
"""The largest count of a 24-bit converter."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The mean of one load.

    Attributes
    ----------
    t_s : float
        Middle of the averaging, on the calibration's own time.
    seconds : float
    n : int
        Readings averaged, wild and failed ones left out.
    counts, u_counts : (channels,) float
        Mean and its standard uncertainty.
    noise_counts : (channels,) float
        White noise of one reading, standard deviation.
    crept_counts : (channels,) float
        Change over the averaging by a straight line.
    limited_by : "" or "drift" or "time"
        Why the mean is less certain than wanted; empty where it is not.
    """

    t_s: float
    seconds: float
    n: int
    counts: Array
    u_counts: Array
    noise_counts: Array
    crept_counts: Array
    limited_by: str = ""


@dataclass(frozen=True, slots=True)
class Watch:
    """The state of a running reading.

    ``still`` is None until there are enough readings; ``unrest`` is the unrest as a multiple of what counts as still;
    ``u_counts`` the present standard error of the worst channel, ``needed_s`` how much longer it takes.
    """

    phase: Phase
    seconds: float
    still: bool | None = None
    unrest: float | None = None
    u_counts: float | None = None
    needed_s: float | None = None


class Averager:
    """Collects the readings of one step.

    Parameters
    ----------
    rate_Hz : float
    watched : list of int
        Channels that must become good; all are averaged.
    zero_counts : (channels,) float or None
        The newest zero, None while there is none.
    target_share : float
        Wanted standard error as a share of the load's own deflection.
    dwell_s : float
        Shortest averaging time, where it is longer than usual.
    """

    def __init__(
        self,
        rate_Hz: float,
        watched: list[int],
        *,
        zero_counts: Array | None = None,
        target_share: float = 5e-4,
        dwell_s: float = 0.0,
    ) -> None:
        self.rate_Hz = rate_Hz
        self._watched = watched
        self._zero = zero_counts
        self._target_share = target_share
        self._shortest_s = max(SHORTEST_S, dwell_s)
        self._longest_s = max(LONGEST_S, 1.5 * self._shortest_s)
        self._rows: list[Array] = []
        self._times: list[Array] = []
        self._rows_taken = 0
        self._judged = 0
        self.restarts = 0
        self.watch = Watch("settling", 0.0)
        self.reading: Reading | None = None

    def push(self, t_s: Array, block: CountBlock) -> Watch:
        """Take readings at the calibration's times ``t_s`` (n,) s."""
        counts = block.counts.astype(np.float64)
        counts[block.counts == NO_READING] = np.nan
        settled, chunk = SETTLE_S * self.rate_Hz, max(1, round(CHUNK_S * self.rate_Hz))
        # In rows of a fixed number, so that the result does not depend on how the stream was cut.
        for row in range(len(t_s)):
            if self.watch.phase in ("done", "restless", "saturated"):
                break
            self._rows_taken += 1
            if self._rows_taken > settled:
                self._rows.append(counts[row])
                self._times.append(t_s[row : row + 1])
            if self._rows_taken % chunk == 0:
                self._look()
        return self.watch

    @property
    def seconds(self) -> float:
        """Return how long was averaged so far."""
        return len(self._rows) / self.rate_Hz

    @property
    def waited_s(self) -> float:
        """Return how long ago the load was placed."""
        return self._rows_taken / self.rate_Hz

    def _look(self) -> None:
        window = round(WINDOW_S * self.rate_Hz)
        if len(self._rows) < window:
            self.watch = Watch("settling", self.seconds)
            return
        newest = np.array(self._rows[-window:])
        if (np.abs(newest[:, self._watched]) >= SATURATED_COUNT).mean() > 0.1:
            self.watch = Watch("saturated", self.seconds, False)
            return
        unrest = self._unrest(newest)
        if not unrest <= 1.0:
            # What was averaged while the load moved is worthless: start again.
            if self.seconds > 2 * WINDOW_S:
                self.restarts += 1
            self._rows, self._times = self._rows[-window // 2 :], self._times[-window // 2 :]
            late = self.waited_s > PATIENCE_S + self._shortest_s
            self.watch = Watch("restless" if late else "settling", 0.0, False, unrest)
            return
        if len(self._rows) - self._judged >= 2 * self.rate_Hz or len(self._rows) < self._judged:
            self._judge(unrest)
        else:
            self.watch = Watch("averaging", self.seconds, True, unrest, self.watch.u_counts, self.watch.needed_s)

    def _moved(self, mean: Array) -> float:
        """Return the largest deflection of the watched channels, NaN where no zero is known."""
        if self._zero is None:
            return math.nan
        return float(np.nanmax(np.abs((mean - self._zero)[self._watched])))

    def _unrest(self, newest: Array) -> float:
        """Return the slow unrest of the newest window as a multiple of what is allowed."""
        chunk = max(1, round(CHUNK_S * self.rate_Hz))
        if (np.isnan(newest[:, self._watched]).mean(axis=0) > 0.5).any():
            return math.inf
        tame = _tamed(newest)[:, self._watched]
        moved = self._moved(np.nanmean(np.where(np.isnan(newest).all(axis=0), 0.0, newest), axis=0))
        rows = len(tame) // chunk
        means = np.nanmean(tame[: rows * chunk].reshape(rows, chunk, -1), axis=1)
        white = np.sqrt(np.nanmean(np.diff(tame, axis=0) ** 2, axis=0) / 2)
        allowed = np.maximum(3.0 * white / math.sqrt(chunk), 3.0)
        if math.isfinite(moved):
            allowed = np.maximum(allowed, STILL_SHARE * moved)
        worst = np.max(np.std(means, axis=0, ddof=1) / allowed)
        return float(worst) if math.isfinite(worst) else math.inf

    def _judge(self, unrest: float) -> None:
        """Judge whether the mean is good enough by now."""
        self._judged = len(self._rows)
        reading, stabilities, left = self._mean()
        moved = self._moved(reading.counts)
        target = self._target_share * moved if math.isfinite(moved) and moved > 0 else math.inf
        worst = float(np.max(reading.u_counts[self._watched]))
        needs = [stabilities[i].readings_for(target) for i in self._watched]
        limited = ""
        if worst > target:
            limited = "drift" if any(n is None for n in needs) else "time"
        more = max((n for n in needs if n is not None), default=0) / self.rate_Hz - self.seconds
        needed_s = max(self._shortest_s - self.seconds, more if limited != "drift" else 0.0, 0.0)
        enough = self.seconds >= self._shortest_s and (worst <= target or limited == "drift")
        if (enough and left) or self.seconds >= self._longest_s:
            self.reading = replace(reading, limited_by=limited)
            self.watch = Watch("done", self.seconds, True, unrest, worst, 0.0)
            return
        self.watch = Watch("averaging", self.seconds, True, unrest, worst, needed_s)

    def _mean(self) -> tuple[Reading, list[Stability], bool]:
        rows, times = np.array(self._rows), np.concatenate(self._times)
        tame = _tamed(rows)
        channels = rows.shape[1]
        counts, u, noise, crept = (np.full(channels, np.nan) for _ in range(4))
        judged = []
        for c in range(channels):
            good = ~np.isnan(tame[:, c])
            values = tame[good, c]
            if len(values) < 0.5 * len(rows):
                judged.append(Stability(math.inf, math.inf, 0.0))
                continue
            stability = judge(allan_curve(values, self.rate_Hz))
            line = polynomial_fit(times[good] - times.mean(), values, 1)
            counts[c], noise[c] = values.mean(), stability.white
            # Rounding to whole counts hides noise below it: 1 / sqrt(12) of a count stays (JCGM 100, F.2.2.1).
            u[c] = math.hypot(stability.standard_error(len(values)), 12**-0.5)
            crept[c] = line.coefficients[1] * (times[-1] - times[0])
            judged.append(stability)
        complete = not np.isnan(counts[self._watched]).any()
        seconds = float(times[-1] - times[0])
        return (
            Reading(float(times.mean()), seconds, int((~np.isnan(tame)).sum(axis=0).max()), counts, u, noise, crept),
            judged,
            complete,
        )


def _tamed(rows: Array) -> Array:
    """Return readings with the wild ones as NaN: the outliers of ``OUTLIER_SDS``."""
    alive = np.where(np.isnan(rows).all(axis=0), 0.0, rows)
    away = np.abs(alive - column_medians(alive))
    spread = MAD_TO_SD * column_medians(away)
    return np.where(away > OUTLIER_SDS * np.maximum(spread, 1.0), np.nan, rows)
