"""The pipeline: count blocks in, pictures and results out. Live and recorded data run the same row of stages.

bytes -> counts (bridge) -> newtons -> uniform grid -> spikes -> presence -> session -> measures; beside it, for
somebody who watches, the live view. Everything is decided on ticks of fixed length, counted from the segment's first
row, so that the result does not depend on how the stream was cut into blocks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from firmware_bridge.counts import CountBlock
from monitor.measures.live.view import LiveView
from monitor.measures.picture import Picture
from monitor.measures.session_analysis import AnalysisSettings, analyse_session
from monitor.newtons.calibration import Calibration
from monitor.newtons.load_block import LoadBlock, Newtons
from monitor.records.session_result import SessionResult
from monitor.rig import Rig
from monitor.signals.presence import COMES_AFTER_S, Came, Left, Presence
from monitor.signals.row_buffer import Rows, summed
from monitor.signals.row_marks import RowMarks
from monitor.signals.session_loads import Array, SessionLoads, calibration_uncertainty, even_times
from monitor.signals.spikes import Despike
from monitor.signals.uniform_grid import UniformGrid

TICKS_PER_S = 20
"""Pictures a second: a screen looks fluent (common practice, no source)."""

PIECE_ROWS = 4096
"""A long block goes through the stages in pieces that fit into a processor's cache; results do not depend on it."""

PRE_ROLL_S = 8.0
"""Kept from before somebody came: the empty rig's zeros are read in it (common practice, no source)."""

CURVE_U_ZERO_N = 0.3
CURVE_U_REL_SPAN = 5e-4
"""What is assumed of each cell where a curve in newtons comes without its calibration (R 60 class C3 cells, two-point
calibration with gym plates; common practice, no source)."""

ASSUMED_ZERO_AGE_S = 3600.0
"""How old a calibration's zero is taken to be where its date or the time of day is not known (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class SessionBegan:
    """Somebody came onto the rig; ``from_s`` is the first instant that is kept of the session."""

    session: int
    at_s: float
    from_s: float


@dataclass(frozen=True, slots=True)
class SessionMeasured:
    """Results of a session: so far (a hold has just ended) or, with ``final``, of all of it."""

    session: int
    result: SessionResult
    final: bool
    interrupted: bool = False


PipelineEvent = SessionBegan | SessionMeasured


@dataclass
class Output:
    """What one push brought.

    Attributes
    ----------
    events : list of PipelineEvent
        In order.
    pictures : list of Picture
        Of the live view.
    loads : list of LoadBlock
        The counts in newtons, as calibrated: empty for loads that were in newtons already.
    """

    events: list[PipelineEvent] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    loads: list[LoadBlock] = field(default_factory=list)


class Pipeline:
    """All stages in a row, with their state.

    Parameters
    ----------
    rig : Rig
    rate_Hz : float
        What the board says that it does; the measured rate comes from the stamps.
    calibration : Calibration or None
        None for curves that are in newtons already.
    delay_s : float
        From the middle of a conversion to its stamp; 0 for blocks whose times are the load's already.
    skew_s : float
        Largest difference between the instants at which the board reads its channels.
    analysis_settings : AnalysisSettings
    live : bool
        Make pictures and measure each hold as it ends, not only the session when it is over.
    analyse : callable or None
        Makes a result of a session's loads, with the parameters of ``analyse_session``; None: that function.
    """

    def __init__(
        self,
        rig: Rig,
        rate_Hz: float,
        analysis_settings: AnalysisSettings,
        *,
        calibration: Calibration | None = None,
        delay_s: float = 0.0,
        skew_s: float = 0.0,
        live: bool = False,
        analyse: Callable[..., SessionResult] | None = None,
    ) -> None:
        self.rig, self.rate_Hz = rig, rate_Hz
        self._analyse = analyse
        self._analysis_settings = analysis_settings
        channels = len(rig.channels)
        self._newtons = Newtons(calibration, delay_s) if calibration else None
        u_zero = calibration.u_zero_N if calibration else (CURVE_U_ZERO_N,) * channels
        u_span = calibration.u_rel_span if calibration else (CURVE_U_REL_SPAN,) * channels
        self._u_zero_N, self._u_rel_span = np.array(u_zero), np.array(u_span)
        self._known = calibration_uncertainty(calibration, skew_s)
        self._zeroed_utc_s = calibration.oldest_zero_utc_s if calibration else None
        self._utc_s_at_zero: float | None = None
        self._all = list(rig.bar_index + rig.platform_index)
        self._tick_rows = max(1, round(rate_Hz / TICKS_PER_S))
        self._live = live
        self._view: LiveView | None = None
        self._grid = UniformGrid(rate_Hz)
        self._despike = Despike(channels)
        self.sessions = 0
        self.samples = 0
        self.clock_rate, self.u_clock_rate = 1.0, 5e-5
        self._begin()

    @property
    def lost(self) -> int:
        """Return the rows known to be lost so far."""
        return self._grid.lost

    @property
    def spikes(self) -> int:
        """Return the single readings masked so far."""
        return self._despike.spikes

    @property
    def analysis_settings(self) -> AnalysisSettings:
        """What the caller set; may be changed at any time, and counts from the next tick on."""
        return self._analysis_settings

    @analysis_settings.setter
    def analysis_settings(self, analysis_settings: AnalysisSettings) -> None:
        self._analysis_settings = analysis_settings
        if self._view is not None:
            self._view.analysis_settings = analysis_settings

    def _begin(self) -> None:
        """Start a new segment: rows and ticks count from zero."""
        self._rows = Rows(len(self.rig.channels))
        self._presence = Presence(self._tick_rows / self.rate_Hz, has_platform=self.rig.has_platform)
        self._ticks = 0
        self._session_from: int | None = None
        self._spike_rows, self._lost_rows = RowMarks(), RowMarks()
        self._spikes_before, self._lost_before = self._despike.spikes, self._grid.lost
        if self._live:
            n, spans = len(self.rig.channels), self._known.covariance
            covariance = np.diag(self._u_rel_span**2) if spans is None else spans[:n, :n]
            self._view = LiveView(
                self.rig, self.rate_Hz, self._tick_rows, self._analysis_settings, self._u_zero_N, covariance
            )

    def clock(self, rate: float, u_rate: float, utc_ns_at_zero: int | None = None) -> None:
        """Set true seconds per second of the record, and its standard uncertainty, from now on.

        ``utc_ns_at_zero`` (UTC at the record's second 0) tells how old the calibration's zero is by now.
        """
        self.clock_rate, self.u_clock_rate = rate, u_rate
        if utc_ns_at_zero is not None:
            self._utc_s_at_zero = utc_ns_at_zero * 1e-9

    def _zero_age_s(self, first_s: float) -> float:
        """Return how old the calibration's zero is at an instant of the record (s)."""
        if self._newtons is None:
            return 0.0  # a curve's assumed zero holds for all of it
        if self._zeroed_utc_s is None or self._utc_s_at_zero is None:
            return ASSUMED_ZERO_AGE_S
        return max(0.0, self._utc_s_at_zero + self.clock_rate * first_s - self._zeroed_utc_s)

    def push(self, block: CountBlock) -> Output:
        """Take raw counts. Raises ``BadCalibration`` when the number of channels is not the rig's."""
        if self._newtons is None:
            raise ValueError("This pipeline was made for loads in newtons; use push_load.")
        loads = self._newtons.push(block)
        out = self.push_load(loads)
        out.loads.append(loads)
        return out

    def push_load(self, block: LoadBlock) -> Output:
        """Take loads in newtons."""
        out = Output()
        self.samples += len(block)
        received = len(block)
        block, restart = self._grid.push(block)
        if restart and self._rows.end + len(self._despike) > 0:
            self._end_segment(out, interrupted=True)
        if len(block) > received:
            row = self._rows.end + len(self._despike)
            self._lost_rows.add(range(row, row + len(block) - received))
        for first in range(0, len(block), PIECE_ROWS):
            piece = slice(first, first + PIECE_ROWS)
            self._take(*self._despike.push(block.t_s[piece], block.load_N[piece]), out)
        return out

    def flush(self, *, interrupted: bool = False) -> Output:
        """End the record: what was held back goes through, a session in progress is measured."""
        out = Output()
        self._end_segment(out, interrupted=interrupted)
        return out

    def _end_segment(self, out: Output, *, interrupted: bool) -> None:
        self._take(*self._despike.flush(), out)
        if self._session_from is not None:
            self._measure(self._session_from, self._rows.end, out, final=True, interrupted=interrupted)
        self._begin()

    def _take(self, t_s: Array, load_N: Array, out: Output) -> None:
        if not len(t_s):
            return
        self._spike_rows.add(self._rows.end + row for row in self._despike.masked)
        self._rows.append(t_s, load_N)
        n = self._tick_rows
        fresh = self._rows.end // n - self._ticks
        if self._view is not None:
            self._view.append(t_s, load_N)
        if fresh <= 0:
            return
        loads = self._rows.load(self._ticks * n, (self._ticks + fresh) * n)
        # A plain sum over each tick's rows, always the same rows: no cut of the stream can show in it.
        means = np.add.reduce(summed(loads, self._all).reshape(fresh, n), axis=1) / n
        # A view needs every tick; without one, all ticks go through presence at once.
        for ticks in [means] if self._view is None else means[:, None]:
            hold_due = self._show_tick(out)
            self._ticks += len(ticks)
            for step in self._presence.push(ticks):
                self._step(step, out)
            if hold_due and self._session_from is not None:
                self._measure(self._session_from, self._ticks * n, out, final=False)
        if self._session_from is None:
            # Somebody who comes is noticed a little later: the pre-roll counts from the first tick with load.
            first_needed = self._ticks * n - round((PRE_ROLL_S + COMES_AFTER_S) * self.rate_Hz) - 2 * n
            self._rows.drop_before(first_needed)
            self._spike_rows.drop_before(first_needed)
            self._lost_rows.drop_before(first_needed)

    def _show_tick(self, out: Output) -> bool:
        """Make the next tick's picture where there is a live view; say whether a hold is due to be measured."""
        if self._view is None:
            return False
        # Never more losses and spikes than its picture shows.
        row = (self._ticks + 1) * self._tick_rows
        self._view.lost = self._lost_before + self._lost_rows.before(row)
        self._view.spikes = self._spikes_before + self._spike_rows.before(row)
        picture, hold_due = self._view.tick()
        out.pictures.append(picture)
        return hold_due

    def _step(self, step: Came | Left, out: Output) -> None:
        n = self._tick_rows
        if isinstance(step, Came):
            row = max(0, step.tick * n - round(PRE_ROLL_S * self.rate_Hz), self._rows.first)
            self._session_from = row
            self.sessions += 1
            at_s, from_s = (float(self._rows.t_s(r, r + 1)[0]) for r in (step.tick * n, row))
            out.events.append(SessionBegan(self.sessions, at_s, from_s))
        elif self._session_from is not None:
            self._measure(self._session_from, (step.tick + 1) * n, out, final=True)
            self._session_from = None
            if self._view is not None:
                self._view.session_over()

    def _measure(self, first: int, end: int, out: Output, *, final: bool, interrupted: bool = False) -> None:
        t_s, u_stamp_s = even_times(self._rows.t_s(first, end).copy())
        age_s = self._zero_age_s(float(t_s[0])) if len(t_s) else 0.0
        session = SessionLoads(
            self.rig,
            t_s,
            self._rows.load(first, end).copy(),
            self._u_zero_N,
            self._u_rel_span,
            replace(self._known, zero_age_s=age_s, u_stamp_s=u_stamp_s),
        )
        result = (self._analyse or analyse_session)(
            session,
            self._analysis_settings,
            clock_rate=self.clock_rate,
            u_clock_rate=self.u_clock_rate,
            spikes=self._spike_rows.between(first, end),
        )
        if not final:
            # A running hold is no result yet.
            ended = [hold for hold in result.holds if "record_ends_in_hold" not in hold.flags]
            result = replace(result, holds=ended)
        out.events.append(SessionMeasured(self.sessions, result, final, interrupted))
