"""All measures of one hold, put together: each a number with its uncertainty, or null with a flag that says why."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import HoldEdges, regrip_gaps
from monitor.holds.grip_changes import grip_changes_s
from monitor.holds.stretches import MarkedHold
from monitor.holds.touches import FootContact, foot_contacts
from monitor.measures.assistance import UNASSISTED_BELOW, Assistance
from monitor.measures.disturbance import disturbed_rows, near_spans
from monitor.measures.hold_context import HoldContext, Stretch
from monitor.measures.lateral_offset import lateral
from monitor.measures.loading_rate import Rise, loading_rate_rise
from monitor.measures.misclosure import account_is_open, surplus_loads, third_supports
from monitor.measures.motion import motion_of
from monitor.measures.peak import Peak, peak_of
from monitor.measures.reference_level_instants import sharpened
from monitor.measures.settling import settle_s
from monitor.measures.shares import assistance_course, misclosure_of, shares_of, u_feet_share, u_shares
from monitor.measures.shoulder_states import states_of, travel_was_missed
from monitor.measures.slopes import slopes_of
from monitor.measures.stillness import stillness_of
from monitor.measures.sway import feet_sway
from monitor.measures.tremor import tremor_N
from monitor.records.hold_result import (
    HoldResult,
    Regrip,
    Slopes,
    Stillness,
    SurplusLoad,
    Sway,
    Swing,
    ThirdSupport,
    Touch,
)
from monitor.runs import runs_of
from monitor.signals.session_loads import SessionLoads
from monitor.statistics import robust_sd

SHOULDERS_MOST_mm = 120.0
"""Shoulder blades raise a body by less; more is a pull with bent elbows, whose height is less sure than its uncertainty
(common practice, no source)."""

PEAK_MARGIN = 64
"""Rows around a hold in which its peak is looked for: more than any of its windows reaches."""


def measure_hold(session: SessionLoads, edges: HoldEdges, context: HoldContext) -> HoldResult:
    """Measure one hold of a session whose zeros are corrected."""
    return _measured(session, *sharpened(session, edges), context)


def measure_marked(session: SessionLoads, marked: MarkedHold, context: HoldContext) -> HoldResult:
    """Measure a hold that a person marked out; an instant that they chose is exact."""
    onset, release = sharpened(session, marked.first), sharpened(session, marked.last)
    edges, u_onset_s, u_release_s = marked.edges, onset[1][0], release[1][1]
    if marked.cut_start:
        u_onset_s = 0.0
    else:
        edges = replace(edges, onset_s=onset[0].onset_s)
    if marked.cut_end:
        u_release_s = 0.0
    else:
        edges = replace(edges, release_s=release[0].release_s)
    result = _measured(session, edges, (u_onset_s, u_release_s), context)
    # The record goes on beyond a cut.
    cuts = {"record_begins_in_hold": marked.cut_start, "record_ends_in_hold": marked.cut_end}
    return replace(result, flags=[flag for flag in result.flags if not cuts.get(flag, False)])


def _measured(
    session: SessionLoads, edges: HoldEdges, u_edges_s: tuple[float, float], context: HoldContext
) -> HoldResult:
    flags = list(context.flags)
    duration_s = edges.duration_s * context.clock_rate
    duration_u_s = float(np.hypot(np.hypot(*u_edges_s), edges.duration_s * context.u_clock_rate))
    regrips = [Regrip(a, b) for a, b in regrip_gaps(edges)]
    if edges.begins_inside:
        flags.append("record_begins_in_hold")
    if edges.ends_inside:
        flags.append("record_ends_in_hold")
    if not session.valid[edges.first : edges.last].all():
        missing_s = float(np.count_nonzero(~session.valid[edges.first : edges.last])) / session.rate_Hz
        if missing_s > 0.5:
            flags.append("data_missing")
    peak = _peak(session, edges) if session.rig.has_bar else None
    if peak is not None and not peak.resolved:
        flags.append("peak_not_resolved")
    zeros, rows = context.zeros, slice(edges.first, edges.last)
    if session.rig.has_platform and zeros.feet_shift_N is None:
        flags.append("platform_zero_not_read")
    if session.rig.has_bar and zeros.bar_shift_N is None:
        flags.append("bar_zero_not_read")
    common: dict[str, Any] = {
        "onset_s": edges.onset_s,
        "release_s": edges.release_s,
        "duration_s": duration_s,
        "duration_u_s": duration_u_s,
        "bodyweight_N": context.bodyweight.bodyweight_N if context.bodyweight else None,
        "bodyweight_u_N": context.bodyweight.u_N if context.bodyweight else None,
        "peak_N": peak.load_N if peak else None,
        "peak_u_N": math.hypot(peak.u_N, peak.load_N * session.part_u_rel_span(session.rig.bar_index))
        if peak
        else None,
        "regrips": regrips,
        "zero_bar_N": zeros.taken_off_N(session.rig.bar_index, zeros.bar_shift_N, rows),
        "zero_feet_N": zeros.taken_off_N(session.rig.platform_index, zeros.feet_shift_N, rows),
    }
    if context.bodyweight is None:
        return HoldResult(**common, flags=[*flags, "bodyweight_unknown"])
    hold = _Hold(session, edges, context, common, flags, u_edges_s)
    return hold.result() if session.rig.has_bar else hold.feet_only()


def _peak(session: SessionLoads, edges: HoldEdges) -> Peak:
    bar, rows = session.rig.bar_index, slice(max(0, edges.first - PEAK_MARGIN), edges.last + PEAK_MARGIN)
    cells_N = session.filled_N[rows][:, list(bar)]
    return peak_of(session.t_s[rows], cells_N, edges.onset_s, edges.release_s, session.rate_Hz, session.noise_N(bar))


class _Hold(Stretch):
    """One hold whose result is put together; methods fill parts of it and add flags."""

    def __init__(
        self,
        session: SessionLoads,
        edges: HoldEdges,
        context: HoldContext,
        common: dict[str, Any],
        flags: list[str],
        u_edges_s: tuple[float, float],
    ) -> None:
        if context.bodyweight is None:
            raise ValueError("bodyweight")
        super().__init__(session, edges, context, context.bodyweight, u_edges_s)
        self.common, self.flags = common, flags

    def result(self) -> HoldResult:
        """Return the hold with every measure that its rig and its length allow."""
        share = shares_of(self, self.flags)
        u_beta, u_alpha = u_shares(self, share)
        third = self._third_support()
        surplus = self._surplus_load()
        contacts = [
            c for c in self._contacts(share) if not any(c.start_s < s.end_s and c.end_s > s.start_s for s in surplus)
        ]
        touches = [Touch(c.start_s, c.end_s, c.peak_N / self.W, c.impulse_N_s) for c in contacts]
        if not all(c.peak_resolved for c in contacts):
            self.flags.append("touch_peak_not_resolved")
        unassisted = share.alpha_median < UNASSISTED_BELOW
        if share.alpha_median < -UNASSISTED_BELOW:
            self.flags.append("negative_assistance")
        disturbed = self._disturbed(contacts if unassisted else [], third)
        body = self.between_catch_and_letting_go()
        closure, u_closure = misclosure_of(self, body & ~disturbed, third)
        if closure is not None and u_closure is not None and account_is_open(closure, u_closure):
            self.flags.append("surplus_load" if closure > 0 else "weight_missing")
        swing, travel = motion_of(self, disturbed, body, third, self.flags, unassisted=unassisted, direct=share.direct)
        states, kind = states_of(self.edges.onset_s, self.edges.release_s, travel, self.context.given_start)
        if kind is None:
            self.flags.append("kind_unknown")
        if travel_was_missed(travel) or any(abs(one.travel_mm) > SHOULDERS_MOST_mm for one in travel):
            self.flags.append("travel_not_readable")
        lateral_m, u_lateral_m = self._lateral_m()
        settled = settle_s(self.t, self.sum, self.W, self.rate_Hz, self.edges.onset_s, self.edges.release_s)
        if settled is None:
            self.flags.append("never_settled")
        rise = self._rise()
        tremor = self._tremor(body, disturbed) if share.direct else None
        if tremor is None:
            self.flags.append("tremor_not_measurable")
        return HoldResult(
            **self.common,
            kind=kind,
            support="unassisted" if unassisted else "assisted",
            beta_mean=share.beta_mean,
            beta_u=u_beta,
            alpha_mean=share.alpha_mean,
            alpha_u=u_alpha,
            alpha_p95=share.alpha_p95,
            alpha_direct=share.direct,
            assistance_course=assistance_course(self),
            clean_s=share.clean_s * self.context.clock_rate,
            misclosure=closure if share.direct else None,
            misclosure_u=u_closure if share.direct else None,
            dose_bw_s=share.beta_mean * self.edges.duration_s * self.context.clock_rate,
            lateral_m=lateral_m,
            lateral_u_m=u_lateral_m,
            swing=swing,
            settle_s=settled,
            states=states,
            travel=travel,
            grip_changes_s=self._grip_changes(),
            third_support=third,
            surplus_load=surplus,
            tremor_N=tremor,
            loading_N_s=rise.rate_N_s if rise else None,
            loading_u_N_s=rise.u_N_s if rise else None,
            stillness=self._stillness(body, swing, contacts if unassisted else []) if share.direct else None,
            slopes=self._slopes(body, unassisted) if share.direct else None,
            sway=None if unassisted else self._sway(body),
            touches=touches if unassisted else [],
            flags=list(dict.fromkeys(self.flags)),
        )

    def feet_only(self) -> HoldResult:
        """Return what a platform without bar cells can measure: the feet's share, and the rest of bodyweight."""
        self.flags.append("beta_inferred")
        share = shares_of(self, self.flags)
        u_alpha = u_feet_share(self, share)
        return HoldResult(
            **self.common,
            support="unassisted" if share.alpha_median < UNASSISTED_BELOW else "assisted",
            beta_mean=share.beta_mean,
            beta_u=u_alpha,
            alpha_mean=share.alpha_mean,
            alpha_u=u_alpha,
            alpha_p95=share.alpha_p95,
            alpha_direct=True,
            assistance_course=assistance_course(self),
            clean_s=share.clean_s * self.context.clock_rate,
            dose_bw_s=share.beta_mean * self.edges.duration_s * self.context.clock_rate,
            sway=self._sway(self.between_catch_and_letting_go()),
            flags=list(dict.fromkeys(self.flags)),
        )

    def _rise(self) -> Rise | None:
        """Return how fast the bar was loaded; None where the record begins in mid-hold."""
        if self.edges.begins_inside:
            return None
        noise_N, bar = self.session.noise_N(self.rig.bar_index), self.rig.bar_index
        rise = loading_rate_rise(self.t, self.bar, self.edges.onset_s, self.rate_Hz, noise_N)
        if rise is None:
            return None
        return Rise(rise.rate_N_s, float(np.hypot(rise.u_N_s, rise.rate_N_s * self.session.part_u_rel_span(bar))))

    def _stillness(self, body: NDArray[np.bool_], swing: Swing | None, contacts: list[FootContact]) -> Stillness | None:
        lateral = self.lateral_course_m()
        return stillness_of(
            self.t[body],
            self.sum[body],
            self.W,
            self.rate_Hz,
            lateral_m=None if lateral is None else lateral[body],
            swing=swing.course if swing else [],
            feet=near_spans(self.t, [(c.start_s, c.end_s) for c in contacts], 0.0)[body],
        )

    def _slopes(self, body: NDArray[np.bool_], unassisted: bool) -> Slopes | None:
        lateral = self.lateral_course_m()
        return slopes_of(
            self.t[body],
            self.sum[body],
            None if unassisted else self.feet[body],
            None if lateral is None else lateral[body],
            self.W,
            self.rate_Hz,
        )

    def _sway(self, body: NDArray[np.bool_]) -> Sway | None:
        """Return the sway of the feet; None unless the platform's cells span a surface."""
        rig = self.rig
        index = list(rig.platform_index)
        x_m, y_m = (np.array([getattr(rig.channels[i], k) for i in index]) for k in ("x_m", "y_m"))
        if len(set(x_m)) < 2 or len(set(y_m)) < 2:
            return None
        return feet_sway(self.cells[body][:, index], x_m, y_m, self.rate_Hz)

    def _tremor(self, body: NDArray[np.bool_], disturbed: NDArray[np.bool_]) -> float | None:
        """Return the tremor of the undisturbed stretches, each weighed by its length."""
        free = body & ~disturbed
        squares, rows = 0.0, 0
        for a, b in runs_of(free):
            tremor = tremor_N(self.sum[a:b], self.rate_Hz)
            if tremor is not None:
                squares, rows = squares + (b - a) * tremor**2, rows + b - a
        return float(np.sqrt(squares / rows)) if rows else None

    def _third_support(self) -> list[ThirdSupport]:
        if not self.rig.has_platform:
            return []
        if self.context.stuck:
            # What is missing may be what the stuck cell does not show.
            self.flags.append("cell_stuck")
            return []
        supports = third_supports(self.t, self.sum, self.W, self.rate_Hz, self.edges.onset_s, self.edges.release_s)
        if supports:
            self.flags.append("third_support")
        return supports

    def _surplus_load(self) -> list[SurplusLoad]:
        if not self.rig.has_platform or self.context.stuck:
            return []
        surplus = surplus_loads(self.t, self.sum, self.W, self.rate_Hz, self.edges.onset_s, self.edges.release_s)
        if surplus:
            self.flags.append("surplus_load")
        return surplus

    def _contacts(self, share: Assistance) -> list[FootContact]:
        """Return the feet's contacts within the hold, those of stepping up and down left out."""
        if not self.rig.has_platform or share.alpha_median >= UNASSISTED_BELOW:
            return []
        feet = self.feet[self.inside]
        noise_N = robust_sd(feet)
        contacts = foot_contacts(self.t, self.feet, self.W, noise_N)
        within = [
            c for c in contacts if c.start_s > self.edges.onset_s + 0.05 and c.end_s < self.edges.release_s - 0.005
        ]
        # Feet that catch the body while the hands let go belong to the regrip.
        return [c for c in within if not any(c.start_s < b + 0.1 and c.end_s > a - 0.1 for a, b in self.edges.gaps)]

    def _disturbed(self, contacts: list[FootContact], third: list[ThirdSupport]) -> NDArray[np.bool_]:
        support_edges = [(x, x) for one in third for x in (one.start_s, one.end_s)]
        return disturbed_rows(
            self.t,
            gaps=self.edges.gaps,
            touches=[*((c.start_s, c.end_s) for c in contacts), *support_edges],
            sides=self.sides(),
            bodyweight_N=self.W,
            rate_Hz=self.rate_Hz,
        )

    def _lateral_m(self) -> tuple[float | None, float | None]:
        """Return where the load hangs between the bar's cells, and its standard uncertainty."""
        if self.sides() is None:
            return None, None
        return lateral(self.session, self.context.zeros, self.t[self.inside], self.cells[self.inside])

    def _grip_changes(self) -> list[float]:
        sides = self.sides()
        if sides is None:
            self.flags.append("hands_not_told_apart")
            return []
        left, right = sides
        return grip_changes_s(self.t[self.inside], left[self.inside], right[self.inside], self.W, self.rate_Hz)
