"""Swing and travel of the running hold, by the same functions that measure the whole hold."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.holds.touches import LEAST_FRACTION as LEAST_TOUCH
from monitor.measures.assistance import UNASSISTED_BELOW
from monitor.measures.disturbance import PULL_REACH_S, disturbed_rows, near_spans
from monitor.measures.hold_context import CATCH_S
from monitor.measures.picture import Shoulders
from monitor.measures.shoulder_states import heights_mm, state_after
from monitor.measures.swing import WINDOW_S, Pendulum, beat_wave, swing_course
from monitor.measures.travel import travels
from monitor.records.hold_result import Travel
from monitor.runs import runs_of
from monitor.signals.session_loads import Array
from monitor.statistics import median

SWING_LOOK_S, TRAVEL_LOOK_S = 16.0, 12.0
"""How far back swing and travel are looked for: a swing's line needs the seconds before its window (decision 14)."""

SAME_PULL_S = 0.8
"""Pulls whose middles lie closer together are one pull, seen in other readings (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RecentLoads:
    """Loads of the last seconds, zeros taken off.

    Attributes
    ----------
    t_s, bar_N, feet_N : (n,) float
    cells_N : (n, channels) float
        NaN where a reading failed.
    left, right : list of int
        The bar's cells to either side of its middle; one is empty where the rig cannot tell the hands apart.
    rate_Hz : float
    """

    t_s: Array
    bar_N: Array
    feet_N: Array
    cells_N: Array
    left: list[int]
    right: list[int]
    rate_Hz: float

    def since(self, start_s: float) -> RecentLoads:
        """Return the loads from an instant on."""
        rows = slice(int(np.searchsorted(self.t_s, start_s)), None)
        return replace(
            self, t_s=self.t_s[rows], bar_N=self.bar_N[rows], feet_N=self.feet_N[rows], cells_N=self.cells_N[rows]
        )

    def disturbed(self, weight_N: float) -> NDArray[np.bool_]:
        """Return (n,) True where hands or feet move the body."""
        let_go = self.bar_N < 0.5 * median(self.bar_N)
        touched = np.abs(self.feet_N - median(self.feet_N)) > LEAST_TOUCH * weight_N
        return disturbed_rows(
            self.t_s,
            gaps=self._spans(let_go),
            touches=self._spans(touched),
            sides=self._sides_N(),
            bodyweight_N=weight_N,
            rate_Hz=self.rate_Hz,
        )

    def _sides_N(self) -> tuple[Array, Array] | None:
        if not self.left or not self.right:
            return None
        cells_N = np.nan_to_num(self.cells_N)
        return cells_N[:, self.left].sum(axis=1), cells_N[:, self.right].sum(axis=1)

    def _spans(self, mask: NDArray[np.bool_]) -> list[tuple[float, float]]:
        return [(float(self.t_s[first]), float(self.t_s[last - 1])) for first, last in runs_of(mask)]


class LiveMotion:
    """Swing and travel of one hold so far.

    Attributes
    ----------
    swing_deg : (float, float) or None
        Amplitude and its standard uncertainty, degrees; None while no swing is measured.
    """

    def __init__(self) -> None:
        self.swing_deg: tuple[float, float] | None = None
        self._beat_Hz: float | None = None
        self._beat_was_known = False
        self._travels: list[Travel] = []
        self._candidates: list[Travel] = []

    @property
    def travel_mm(self) -> float | None:
        """Return the height of the centre of mass above that at the start; None before any travel."""
        return heights_mm(self._travels)[-1] if self._travels else None

    def shoulders(self) -> tuple[Shoulders | None, float | None]:
        """Return relaxed or drawn with a certainty, from the travel in this hold; None before any."""
        after = state_after(self._travels)
        if after is None:
            return None, None
        state, certainty = after
        return ("drawn" if state == "active" else "relaxed"), certainty

    def look_for_swing(
        self, recent: RecentLoads, onset_s: float, account_open_until_s: float, weight_N: float, pendulum: Pendulum
    ) -> None:
        """Measure the swing over the last eight seconds of an unassisted hang.

        Without a line in the spectrum, which needs the seconds before as well, it may be any slow movement. A swing
        that had one is followed while its beat exceeds the noise.
        """
        had_swing = self.swing_deg is not None
        self.swing_deg, self._beat_Hz = None, None
        recent = recent.since(max(onset_s + CATCH_S, account_open_until_s))
        if len(recent.t_s) < WINDOW_S * recent.rate_Hz or median(recent.feet_N) > UNASSISTED_BELOW * weight_N:
            return
        apart = recent.disturbed(weight_N) | self._near_pulls(recent.t_s)
        course = swing_course(
            recent.t_s, recent.bar_N + recent.feet_N, weight_N, recent.rate_Hz, apart, pendulum=pendulum
        )
        if course is None or not np.isfinite(course.amplitude_deg[-1]):
            return
        if course.frequency_Hz is not None or had_swing:
            self.swing_deg = float(course.amplitude_deg[-1]), float(course.u_deg[-1])
            self._beat_Hz = course.frequency_Hz and 2 * course.frequency_Hz

    def look_for_travel(self, recent: RecentLoads, onset_s: float, weight_N: float, gravity_m_s2: float) -> None:
        """Look for pulls in the last seconds; one that is found in two looks is kept.

        Nothing is shown before a swing could be detected: its beat looks like small pulls, and so does a swing that
        begins.
        """
        inside = recent.t_s > onset_s + CATCH_S
        if np.count_nonzero(inside) < WINDOW_S * recent.rate_Hz:
            return
        free = inside & ~recent.disturbed(weight_N)
        sum_N = recent.bar_N + recent.feet_N
        if self._beat_Hz is not None:
            if not self._beat_was_known:
                # Pulls shown before the swing was detected may have been its beat: they are looked for again.
                self._travels = [one for one in self._travels if one.end_s < recent.t_s[inside][0]]
                self._beat_was_known = True
            apart = free & ~self._near_pulls(recent.t_s)
            beat = sum_N[inside] / weight_N - 1.0
            sum_N[inside] -= weight_N * beat_wave(beat, apart[inside], self._beat_Hz, recent.rate_Hz)
        candidates = [
            one
            for first, last in runs_of(free)
            for one in travels(recent.t_s[first:last], sum_N[first:last], weight_N, gravity_m_s2, recent.rate_Hz)
        ]
        for one in candidates:
            if _is_among(one, self._candidates) and not _is_among(one, self._travels):
                self._travels.append(one)
        self._candidates = candidates

    def _near_pulls(self, t_s: Array) -> NDArray[np.bool_]:
        return near_spans(t_s, [(one.start_s, one.end_s) for one in self._travels], PULL_REACH_S)


def _is_among(one: Travel, others: list[Travel]) -> bool:
    """Say whether a pull is one of some others, found in other readings."""
    return any(abs(one.start_s + one.end_s - other.start_s - other.end_s) < 2 * SAME_PULL_S for other in others)
