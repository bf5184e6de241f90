"""A whole session on the rig to its result: zeros, bodyweight, holds, measures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import LEAST_FRACTION, HoldEdges, find_holds
from monitor.holds.stretches import Spans, marked_hold
from monitor.measures.hold import measure_hold, measure_marked
from monitor.measures.hold_context import ALPHA_MAX, HoldContext
from monitor.measures.swing import ANYBODY, Pendulum
from monitor.records.hold_result import HoldResult
from monitor.records.session_result import Quality, SessionResult
from monitor.signals.bodyweight import Bodyweight, given_bodyweight, read_bodyweight, read_hold_bodyweight
from monitor.signals.inferred_bar import LEAST_INFERRED_S, inferred_bar_N
from monitor.signals.session_loads import SessionLoads
from monitor.signals.stuck_cells import stuck_rows
from monitor.signals.windows import PRESENT_N, Windows, windows_of
from monitor.signals.zeros import Zeros, read_zeros

FEWEST_READINGS = 8
"""A session of fewer readings is not measured (common practice, no source)."""

MOSTLY = 0.8
"""A surplus through more than this share of a hold began before it (common practice, no source)."""

GIVEN_U_REL = 0.002
"""Standard uncertainty of a bodyweight that a person states (a household scale and a pair of shoes). Common
practice, no source."""


@dataclass(frozen=True, slots=True)
class AnalysisSettings:
    """Settings of an analysis: bodyweight (N), allowed assistance, shoulders at the start, the person as a pendulum."""

    bodyweight_N: float | None = None
    alpha_max: float = ALPHA_MAX
    given_start: str | None = None
    pendulum: Pendulum = ANYBODY


@dataclass(frozen=True)
class ZeroedSession:
    """A session as its holds are measured: stuck readings masked, zeros taken off.

    Attributes
    ----------
    loads : SessionLoads
        Loads less their zeros.
    zeros : Zeros
        What was taken off, row by row.
    stuck : (n, channels) bool
        Readings of cells that repeated themselves under load.
    """

    loads: SessionLoads
    zeros: Zeros
    stuck: NDArray[np.bool_]


def zeroed_session(calibrated: SessionLoads) -> ZeroedSession | None:
    """Take the zeros off a session's calibrated loads; None for a session too short to measure."""
    if len(calibrated) < FEWEST_READINGS:
        return None
    stuck = stuck_rows(calibrated.load_N, calibrated.rate_Hz)
    if stuck.any():
        calibrated = calibrated.with_load(np.where(stuck, np.nan, calibrated.load_N))
    zeros = read_zeros(calibrated)
    return ZeroedSession(calibrated.minus(zeros.correction_N), zeros, stuck)


def analyse_session(
    calibrated: SessionLoads,
    analysis_settings: AnalysisSettings,
    *,
    clock_rate: float = 1.0,
    u_clock_rate: float = 5e-5,
    spikes: int = 0,
    zeroed: ZeroedSession | None = None,
) -> SessionResult:
    """Return everything that a session yields.

    Parameters
    ----------
    calibrated : SessionLoads
        Loads as calibrated, not yet zeroed.
    analysis_settings : AnalysisSettings
    clock_rate, u_clock_rate : float
        True seconds per second of the record, and its standard uncertainty.
    spikes : int
        Readings masked as spikes.
    zeroed : ZeroedSession or None
        What ``zeroed_session`` returned for these loads, where the caller has it already.
    """
    lost = int(np.count_nonzero(np.isnan(calibrated.load_N).all(axis=1)))
    quality = Quality(len(calibrated), lost, spikes, calibrated.rate_Hz if len(calibrated) > 2 else None)
    zeroed = zeroed or zeroed_session(calibrated)
    if zeroed is None:
        return SessionResult(None, None, [], quality, ["too_short"])
    quality = replace(quality, zero_bar_N=zeroed.zeros.bar_shift_N, zero_feet_N=zeroed.zeros.feet_shift_N)
    weighed = _weighed(zeroed, analysis_settings, clock_rate, u_clock_rate)
    body = weighed.context.bodyweight
    flags = ["cell_stuck"] if zeroed.stuck.any() else []
    if body is None:
        flags.append("bodyweight_unknown")
    elif body.source == "hang":
        flags.append("bodyweight_from_the_hang")
    holds = [measure_hold(weighed.loads, edges, weighed.context_of(edges)) for edges in weighed.edges]
    if any(_weighs_more_throughout(hold) for hold in holds):
        flags.append("stood_beside")
    if any("weight_changed" in hold.flags for hold in holds):
        flags.append("weight_changed")
    return SessionResult(
        bodyweight_N=body.bodyweight_N if body else None,
        bodyweight_u_N=body.u_N if body else None,
        holds=holds,
        quality=quality,
        flags=flags,
    )


def measure_stretches(
    calibrated: SessionLoads,
    analysis_settings: AnalysisSettings,
    stretches: Sequence[Spans],
    *,
    clock_rate: float = 1.0,
    u_clock_rate: float = 5e-5,
) -> list[HoldResult | None]:
    """Measure holds that a person marked out in a session, like those that are found in it.

    Parameters
    ----------
    calibrated, analysis_settings, clock_rate, u_clock_rate
        As for ``analyse_session``.
    stretches : sequence of Spans
        One for each hold.

    Returns
    -------
    list of HoldResult or None
        None where nobody was on the bar in one of its spans.
    """
    zeroed = zeroed_session(calibrated)
    if zeroed is None:
        return [None] * len(stretches)
    weighed = _weighed(zeroed, analysis_settings, clock_rate, u_clock_rate)
    marked = [marked_hold(weighed.loads.t_s, weighed.edges, spans) for spans in stretches]
    return [
        None if one is None else measure_marked(weighed.loads, one, weighed.context_of(one.edges)) for one in marked
    ]


@dataclass(frozen=True)
class _WeighedSession:
    """A zeroed session with what its holds are measured by: loads, bodyweight, the holds found."""

    loads: SessionLoads
    context: HoldContext
    stuck: NDArray[np.bool_]
    edges: list[HoldEdges]
    windows: Windows

    def context_of(self, edges: HoldEdges) -> HoldContext:
        """Return what the measures of one hold need."""
        columns = np.flatnonzero(self.stuck[edges.first : edges.last].any(axis=0))
        context = replace(self.context, stuck=tuple(columns.tolist()))
        if context.bodyweight is None:
            return context
        releases_s = [one.release_s for one in self.edges if one.release_s <= edges.onset_s]
        since_s = max(releases_s, default=float(self.loads.t_s[0]))
        other = read_hold_bodyweight(
            self.loads, context.zeros, self.windows, context.bodyweight, since_s, (edges.onset_s, edges.release_s)
        )
        return context if other is None else replace(context, bodyweight=other, flags=("weight_changed",))


def _weighed(
    zeroed: ZeroedSession, analysis_settings: AnalysisSettings, clock_rate: float, u_clock_rate: float
) -> _WeighedSession:
    session, zeros = zeroed.loads, zeroed.zeros
    if analysis_settings.bodyweight_N is not None:
        given_N = analysis_settings.bodyweight_N
        body: Bodyweight | None = given_bodyweight(session, given_N, GIVEN_U_REL * given_N)
    else:
        body = read_bodyweight(session, zeros)
    if not session.rig.has_bar:
        bar_N = inferred_bar_N(session, body.bodyweight_N) if body else np.zeros(len(session))
        session = replace(session, unweighed_bar_N=bar_N)
    context = HoldContext(
        body,
        zeros,
        clock_rate,
        u_clock_rate,
        analysis_settings.alpha_max,
        analysis_settings.given_start,
        pendulum=analysis_settings.pendulum,
    )
    reference_N = body.bodyweight_N if body else _reference_N(session)
    every = [] if reference_N is None else find_holds(session.t_s, session.bar_N, reference_N)
    if not session.rig.has_bar:
        every = [edges for edges in every if edges.duration_s >= LEAST_INFERRED_S]
    return _WeighedSession(session, context, zeroed.stuck, every, windows_of(session))


def _weighs_more_throughout(hold: HoldResult) -> bool:
    """Say whether a hold was heavier than its bodyweight nearly all the time: then the stance was too light.

    A foot on the frame beside the platform, or a hand on a rail, takes load that the bar carries later.
    """
    surplus_s = sum(span.end_s - span.start_s for span in hold.surplus_load)
    return surplus_s > MOSTLY * (hold.release_s - hold.onset_s)


def _reference_N(session: SessionLoads) -> float | None:
    """Return a level in place of an unknown bodyweight, to tell holds from leaning (rigs with only a bar)."""
    loaded = session.bar_N[session.bar_N > PRESENT_N]
    if not len(loaded):
        return None
    return float(max(np.quantile(loaded, 0.9), PRESENT_N / LEAST_FRACTION))
