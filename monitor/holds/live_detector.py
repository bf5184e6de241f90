"""Live detection of holds: provisional at once, back-dated to the crossing, withdrawn if it was none.

It works in ticks of fixed length, so the stream's cuts make no difference. Its numbers are for the screen; what is
stored comes from the analysis of the whole session, which this detector only starts at the right row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.holds.edges import BRIDGED_S, LEAST_FRACTION, TUG_S, find_holds, runs_above
from monitor.signals.row_buffer import Rows
from monitor.statistics import median

SURE_AFTER_S = 1.0
"""A hold is provisional until it has lasted so long (common practice, no source)."""

MEASURED_AFTER_S = 1.5
"""A hold is measured this long after its release: by then no regrip can bridge it."""

REDATE_EVERY_S = 1.0
REDATE_UNTIL_S = 6.0
LOOK_BACK_S = 5.0
"""The onset is dated again every second for six, by the level known by then, from five seconds before it on (common
practice, no source)."""

SETTLING_TICKS = 10
MOST_TICKS = 2000
"""The settled level is computed at every one of so many first ticks, then every half second, from the last 100 s:
it no longer moves (common practice, no source)."""

ASSUMED_BODYWEIGHT_N = 600.0
"""Tells hanging from leaning while the bodyweight is unknown (a light adult; common practice, no source)."""

REBOUND_S = 0.1
"""A jump to the bar rebounds: a load that is back so soon has not been let go of (common practice, no source)."""

Phase = Literal["none", "provisional", "running", "ended"]


@dataclass(frozen=True, slots=True)
class DetectedHold:
    """The hold on the screen: onset and release in seconds of the record, and how sure it is."""

    onset_s: float
    release_s: float | None
    provisional: bool


class LiveHoldDetector:
    """State machine over ticks; edges are dated by the loads in ``rows``, whose column 0 is the bar's sum.

    Parameters
    ----------
    tick_rows : int
    rate_Hz : float
    least_s : float
        A shorter load is no hold.
    """

    def __init__(self, tick_rows: int, rate_Hz: float, least_s: float = TUG_S) -> None:
        self._least_s = least_s
        self._tick_rows = tick_rows
        self._rate_Hz = rate_Hz
        self._tick_s = tick_rows / rate_Hz
        self.hold: DetectedHold | None = None
        self.phase: Phase = "none"
        self._above_ticks = self._low_ticks = 0
        self._loaded_s = 0.0
        self._history: list[float] = []
        self._onset_row = 0
        self._low_since_row: int | None = None
        self._due_row: int | None = None
        self._redated_s = 0.0
        self._settled_N = 0.0

    def reset(self) -> None:
        """Forget everything: the session is over or the record starts anew."""
        self._withdraw()
        self._due_row = None

    def _withdraw(self) -> None:
        """Withdraw a hold that was none; an earlier one may still be due to be measured."""
        self.hold, self.phase = None, "none"
        self._above_ticks, self._low_ticks, self._history, self._low_since_row = 0, 0, [], None

    def tick(self, bar_N: float, bodyweight_N: float | None, rows: Rows, end_row: int) -> bool:
        """Take one tick's mean bar load, zero taken off; return True when a hold is due to be measured.

        Parameters
        ----------
        bar_N : float, N; NaN where nothing was received.
        bodyweight_N : float or None
        rows : Rows
            Only rows before ``end_row`` are looked at.
        """
        if bar_N != bar_N:
            return False
        least_N = LEAST_FRACTION * (ASSUMED_BODYWEIGHT_N if bodyweight_N is None else bodyweight_N)
        if self.phase in ("none", "ended"):
            self._wait_for_onset(bar_N, least_N, rows, end_row)
        else:
            self._follow(bar_N, least_N, rows, end_row)
        return self._is_due(end_row)

    def _is_due(self, end_row: int) -> bool:
        """Return True once, at the row at which the ended hold is measured, even if the next has begun by then."""
        due = self._due_row
        if due is None or end_row < due:
            return False
        self._due_row = None
        return True

    def _wait_for_onset(self, bar_N: float, least_N: float, rows: Rows, end_row: int) -> None:
        self._low_ticks = self._low_ticks + 1 if bar_N <= least_N else 0
        if bar_N <= least_N and (not self._above_ticks or self._low_ticks * self._tick_s > REBOUND_S):
            self._above_ticks, self._history = 0, []
            return
        # A rebound belongs to the hold that it begins, as in the measured one.
        self._above_ticks += 1
        self._history.append(bar_N)
        if bar_N <= least_N or self._above_ticks * self._tick_s < self._least_s:
            return
        first = end_row - (self._above_ticks + 2) * self._tick_rows
        onset_s = _first_rise_s(rows, first, end_row, least_N)
        self.hold = DetectedHold(onset_s, None, provisional=True)
        self.phase = "provisional"
        self._settled_N = 0.0
        self._loaded_s = self._tick_s * sum(load_N > least_N for load_N in self._history)
        self._onset_row = first
        self._low_since_row = None
        self._redated_s = 0.0

    def _follow(self, bar_N: float, least_N: float, rows: Rows, end_row: int) -> None:
        hold = self.hold
        if hold is None:
            return
        self._history.append(bar_N)
        self._loaded_s += self._tick_s if bar_N > least_N else 0.0
        settled_N = self._settled()
        now_s = float(rows.t_s(end_row - 1, end_row)[0])
        if bar_N < settled_N / 2:
            self._low(rows, end_row, settled_N, least_N)
            return
        if self._low_since_row is not None:
            # Taken again in time to be bridged: a regrip, the clock continues.
            self._low_since_row = None
            self.hold = hold = DetectedHold(hold.onset_s, None, hold.provisional)
        if hold.provisional and now_s - hold.onset_s >= SURE_AFTER_S:
            if settled_N < least_N:
                self._withdraw()
                return
            self.hold = hold = DetectedHold(hold.onset_s, None, provisional=False)
            self.phase = "running"
        if REDATE_UNTIL_S >= now_s - hold.onset_s >= self._redated_s + REDATE_EVERY_S:
            self._redated_s = now_s - hold.onset_s
            self._redate(rows, end_row, least_N / LEAST_FRACTION)

    def _settled(self) -> float:
        """Return the median of the hold so far, updated at every tick at first and every half second later."""
        ticks = len(self._history)
        if ticks <= SETTLING_TICKS or ticks % SETTLING_TICKS == 0 or not self._settled_N:
            self._settled_N = median(np.array(self._history[-MOST_TICKS:]))
        return self._settled_N

    def _low(self, rows: Rows, end_row: int, settled_N: float, least_N: float) -> None:
        """Follow a load below half of its level: a release, or a gap that will be bridged."""
        hold = self.hold
        if hold is None:
            return
        if self._low_since_row is None:
            self._low_since_row = end_row
            release_s = _last_fall_s(rows, end_row - 3 * self._tick_rows, end_row, settled_N / 2)
            self.hold = DetectedHold(hold.onset_s, release_s, hold.provisional)
            return
        if end_row - self._low_since_row < BRIDGED_S * self._rate_Hz:
            return
        held_s = 0.0 if hold.release_s is None else hold.release_s - hold.onset_s
        short = min(held_s, self._loaded_s) < self._least_s
        if settled_N < least_N or short:
            self._withdraw()
            return
        self.hold = DetectedHold(hold.onset_s, hold.release_s, provisional=False)
        self.phase = "ended"
        self._due_row = self._low_since_row + round(MEASURED_AFTER_S * self._rate_Hz)
        self._above_ticks, self._history = 0, []

    def _redate(self, rows: Rows, end_row: int, bodyweight_N: float) -> None:
        """Date the onset again by the settled level so far."""
        hold = self.hold
        first = max(rows.first, self._onset_row - round(LOOK_BACK_S * self._rate_Hz))
        t_s, bar_N = rows.t_s(first, end_row), rows.load(first, end_row)[:, 0]
        if hold is None or len(t_s) < 8:
            return
        holds = find_holds(t_s, bar_N, bodyweight_N)
        if holds and holds[-1].release_s >= hold.onset_s and not holds[-1].begins_inside:
            self.hold = DetectedHold(holds[-1].onset_s, hold.release_s, hold.provisional)


def _first_rise_s(rows: Rows, first: int, end: int, level_N: float) -> float:
    """Return the instant of the first upward crossing in the rows; the first row's without any."""
    t_s, bar_N = rows.t_s(first, end), rows.load(first, end)[:, 0]
    return next((run.start_s for run in runs_above(t_s, bar_N, level_N) if run.first > 0), float(t_s[0]))


def _last_fall_s(rows: Rows, first: int, end: int, level_N: float) -> float:
    """Return the instant of the last downward crossing in the rows; the last row's without any."""
    t_s, bar_N = rows.t_s(first, end), rows.load(first, end)[:, 0]
    falls = [run.end_s for run in runs_above(t_s, bar_N, level_N) if run.last < len(t_s)]
    return falls[-1] if falls else float(t_s[-1])
