"""All measures of one hold, put together: each a number with its uncertainty, or null with a flag that says why."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import HoldEdges
from monitor.holds.grip_changes import grip_changes_s
from monitor.holds.touches import FootContact, foot_contacts
from monitor.measures.assistance import (
    UNASSISTED_BELOW,
    Assistance,
    assistance,
    means_between,
    seconds_of,
    u_share,
)
from monitor.measures.closure import FEWEST_ROWS, quiet_misclosure, third_supports
from monitor.measures.disturbance import near_spans, side_changes
from monitor.measures.edge import sharpened
from monitor.measures.fatigue import slopes_of
from monitor.measures.lateral import lateral
from monitor.measures.loading import bounce_Hz, settle_s
from monitor.measures.peak import Peak, peak_of
from monitor.measures.result import HoldResult, Regrip, Slopes, Stillness, Sway, Swing, ThirdSupport, Touch, Travel
from monitor.measures.states import states_of
from monitor.measures.steepest import Rise, steepest_rise
from monitor.measures.stillness import stillness_of
from monitor.measures.sway import feet_sway
from monitor.measures.swing import ANYBODY, LEAST_DEG, Pendulum, beat_wave, swing_course
from monitor.measures.travel import travels
from monitor.measures.tremor import tremor_N
from monitor.signals.bodyweight import Bodyweight
from monitor.signals.reliance import Reliance, load_reliance
from monitor.signals.stay import Array, Stay
from monitor.signals.summary import median
from monitor.signals.zeros import Zeros

ALPHA_MAX = 0.10
"""Assistance that counts as light unless the coach says otherwise (common practice, no source)."""

CATCH_S = 2.0
LET_GO_S = 0.5
PEAK_MARGIN = 64
"""Rows around a hold in which its peak is looked for: more than any of its windows reaches."""

DISTURBED_MOST = 0.6
MOTION_TURNS = 2
PULL_REACH_S = 0.35
"""A pull is over when its movement is; the bounce that it leaves has another frequency than the swing's beat."""


ZERO_INSTANTS = 6
HALF_READ = 0.5


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the measures of a hold need beside its loads.

    ``clock_rate`` is true seconds per second of the record, with its standard uncertainty ``u_clock_rate``;
    ``alpha_max`` the allowed assistance; ``given_start`` the coach's word on the shoulders at the start; ``stuck`` the
    columns of cells that stood still during the hold; ``pendulum`` the body's own kappa where it is known.
    """

    bodyweight: Bodyweight | None
    zeros: Zeros
    clock_rate: float = 1.0
    u_clock_rate: float = 5e-5
    alpha_max: float = ALPHA_MAX
    given_start: str | None = None
    stuck: tuple[int, ...] = ()
    pendulum: Pendulum = ANYBODY


def measure_hold(stay: Stay, edges: HoldEdges, around: Surroundings) -> HoldResult:
    """Measure one hold of a stay whose zeros are corrected."""
    flags: list[str] = []
    edges, u_edges_s = sharpened(stay, edges)
    duration_s = edges.duration_s * around.clock_rate
    duration_u_s = float(np.hypot(np.hypot(*u_edges_s), edges.duration_s * around.u_clock_rate))
    regrips = [Regrip(a, b) for a, b in edges.gaps]
    if edges.begins_inside:
        flags.append("record_begins_in_hold")
    if edges.ends_inside:
        flags.append("record_ends_in_hold")
    if not stay.valid[edges.first : edges.last].all():
        missing_s = float(np.count_nonzero(~stay.valid[edges.first : edges.last])) / stay.rate_Hz
        if missing_s > 0.5:
            flags.append("data_missing")
    peak = _peak(stay, edges) if stay.rig.has_bar else None
    if peak is not None and not peak.resolved:
        flags.append("peak_not_resolved")
    zeros, rows = around.zeros, slice(edges.first, edges.last)
    common: dict[str, Any] = {
        "onset_s": edges.onset_s,
        "release_s": edges.release_s,
        "duration_s": duration_s,
        "duration_u_s": duration_u_s,
        "peak_N": peak.load_N if peak else None,
        "peak_u_N": math.hypot(peak.u_N, peak.load_N * stay.part_u_rel_span(stay.rig.bar_index)) if peak else None,
        "regrips": regrips,
        "zero_bar_N": zeros.taken_off_N(stay.rig.bar_index, zeros.bar_shift_N, rows),
        "zero_feet_N": zeros.taken_off_N(stay.rig.platform_index, zeros.feet_shift_N, rows),
    }
    if around.bodyweight is None:
        return HoldResult(**common, flags=[*flags, "bodyweight_unknown"])
    hold = _Hold(stay, edges, around, common, flags, u_edges_s)
    return hold.result() if stay.rig.has_bar else hold.feet_only()


def _peak(stay: Stay, edges: HoldEdges) -> Peak:
    bar, rows = stay.rig.bar_index, slice(max(0, edges.first - PEAK_MARGIN), edges.last + PEAK_MARGIN)
    cells_N = stay.filled_N[rows][:, list(bar)]
    return peak_of(stay.t_s[rows], cells_N, edges.onset_s, edges.release_s, stay.rate_Hz, stay.noise_N(bar))


class _Hold:
    """One hold whose bodyweight is known; methods fill parts of its result and add flags."""

    def __init__(
        self,
        stay: Stay,
        edges: HoldEdges,
        around: Surroundings,
        common: dict[str, Any],
        flags: list[str],
        u_edges_s: tuple[float, float],
    ) -> None:
        if around.bodyweight is None:
            raise ValueError("bodyweight")
        self.stay, self.edges, self.around = stay, edges, around
        self.common, self.flags, self.u_edges_s = common, flags, u_edges_s
        self._rig = stay.rig
        self.body, self.W = around.bodyweight, around.bodyweight.bodyweight_N
        self.rate_Hz = stay.rate_Hz
        margin = stay.rows(10.0)
        self.part = slice(max(0, edges.first - margin), min(len(stay), edges.last + margin))
        self.t, self.bar, self.feet, self.sum = (x[self.part] for x in (stay.t_s, stay.bar_N, stay.feet_N, stay.sum_N))
        self.cells = stay.filled_N[self.part]
        self._bounce_Hz = bounce_Hz(self.t, self.sum, self.W, edges.onset_s)
        begin, end = self.t.searchsorted(edges.onset_s), self.t.searchsorted(edges.release_s, "right")
        self.inside = slice(int(begin), int(end))

    def result(self) -> HoldResult:
        """Return the hold with every measure that its rig and its length allow."""
        share = self._assistance()
        u_beta, u_alpha = self._u_shares(share)
        third = self._third_support()
        contacts = self._contacts(share)
        touches = [Touch(c.start_s, c.end_s, c.peak_N / self.W, c.impulse_N_s) for c in contacts]
        if not all(c.peak_resolved for c in contacts):
            self.flags.append("touch_peak_not_resolved")
        unassisted = share.alpha_median < UNASSISTED_BELOW
        if share.alpha_median < -UNASSISTED_BELOW:
            self.flags.append("negative_assistance")
        disturbed = self._disturbed(contacts if unassisted else [], third)
        body = self._body_stretch()
        closure, u_closure = self._misclosure(body & ~disturbed, third)
        swing, travel = self._motion(disturbed, body, third, unassisted=unassisted, direct=share.direct)
        states, kind = states_of(self.edges.onset_s, self.edges.release_s, travel, self.around.given_start)
        if kind is None:
            self.flags.append("kind_unknown")
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
            assistance_course=self._assistance_course(),
            clean_s=share.clean_s * self.around.clock_rate,
            misclosure=closure if share.direct else None,
            misclosure_u=u_closure if share.direct else None,
            dose_bw_s=share.beta_mean * self.edges.duration_s * self.around.clock_rate,
            lateral_m=lateral_m,
            lateral_u_m=u_lateral_m,
            swing=swing,
            settle_s=settled,
            states=states,
            travel=travel,
            grip_changes_s=self._grip_changes(),
            third_support=third,
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
        """Return what a platform without a weighed bar knows: the feet's share, and what must be missing from it."""
        self.flags.append("beta_inferred")
        share = self._assistance()
        feet = self._between_edges(self._rig.platform_index, self.feet)
        u_alpha = u_share(share.alpha_mean, feet, self.body, self.stay, self.around.zeros)
        return HoldResult(
            **self.common,
            support="unassisted" if share.alpha_median < UNASSISTED_BELOW else "assisted",
            beta_mean=share.beta_mean,
            beta_u=u_alpha,
            alpha_mean=share.alpha_mean,
            alpha_u=u_alpha,
            alpha_p95=share.alpha_p95,
            alpha_direct=True,
            assistance_course=self._assistance_course(),
            clean_s=share.clean_s * self.around.clock_rate,
            dose_bw_s=share.beta_mean * self.edges.duration_s * self.around.clock_rate,
            sway=self._sway(self._body_stretch()),
            flags=list(dict.fromkeys(self.flags)),
        )

    def _rise(self) -> Rise | None:
        """Return how fast the bar was loaded; None where the record begins in mid-hold."""
        if self.edges.begins_inside:
            return None
        noise_N, bar = self.stay.noise_N(self._rig.bar_index), self.stay.rig.bar_index
        rise = steepest_rise(self.t, self.bar, self.edges.onset_s, self.rate_Hz, noise_N)
        if rise is None:
            return None
        return Rise(rise.rate_N_s, float(np.hypot(rise.u_N_s, rise.rate_N_s * self.stay.part_u_rel_span(bar))))

    def _lateral_course_m(self) -> Array | None:
        """Return (n,) the lateral offset through the hold; None where the bar's cells cannot tell."""
        rig = self.stay.rig
        if len({rig.channels[i].x_m for i in rig.bar_index}) < 2:
            return None
        x_m = np.array([rig.channels[i].x_m for i in rig.bar_index])
        return np.asarray(self.cells[:, list(rig.bar_index)] @ x_m / np.maximum(self.bar, 0.1 * self.W))

    def _stillness(self, body: NDArray[np.bool_], swing: Swing | None, contacts: list[FootContact]) -> Stillness | None:
        lateral = self._lateral_course_m()
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
        lateral = self._lateral_course_m()
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
        rig = self.stay.rig
        index = list(rig.platform_index)
        x_m, y_m = (np.array([getattr(rig.channels[i], k) for i in index]) for k in ("x_m", "y_m"))
        if len(set(x_m)) < 2 or len(set(y_m)) < 2:
            return None
        return feet_sway(self.cells[body][:, index], x_m, y_m, self.rate_Hz)

    def _tremor(self, body: NDArray[np.bool_], disturbed: NDArray[np.bool_]) -> float | None:
        """Return the tremor of the undisturbed stretches, each weighed by its length."""
        free = body & ~disturbed
        edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
        squares, rows = 0.0, 0
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            tremor = tremor_N(self.sum[a:b], self.rate_Hz)
            if tremor is not None:
                squares, rows = squares + (b - a) * tremor**2, rows + b - a
        return float(np.sqrt(squares / rows)) if rows else None

    def _assistance(self) -> Assistance:
        rig = self.stay.rig
        if not rig.has_platform:
            self.flags.append("alpha_inferred")
        elif self.around.zeros.feet_shift_N is None:
            self.flags.append("platform_zero_not_read")
        if rig.has_bar and self.around.zeros.bar_shift_N is None:
            self.flags.append("bar_zero_not_read")
        return assistance(
            self.t,
            self.bar,
            self.feet if rig.has_platform else None,
            onset_s=self.edges.onset_s,
            release_s=self.edges.release_s,
            bodyweight_N=self.W,
            alpha_max=self.around.alpha_max,
        )

    def _assistance_course(self) -> list[tuple[float, float | None, float | None]]:
        """Return the assistance over each whole second of the hold: its middle (s), alpha, standard uncertainty.

        A second of which less than half was read has no number. u: the zero at that time, the noise of a second's mean,
        and what bodyweight and spans make of the share (taken as independent: slightly too wide).
        """
        rig, stay = self._rig, self.stay
        start_s = seconds_of(self.edges.onset_s, self.edges.release_s)
        if not len(start_s):
            return []
        index, load_N, zero = rig.bar_index, self.bar, self.around.zeros.bar
        if rig.has_platform:
            index, load_N, zero = rig.platform_index, self.feet, self.around.zeros.feet
        share = means_between(self.t, load_N / self.W, start_s, start_s + 1.0)
        read = means_between(self.t, stay.valid[self.part].astype(float), start_s, start_s + 1.0)
        middle_s = start_s + 0.5
        # A zero wanders slowly: what it does between a few instants is a straight line.
        some_s = middle_s[np.linspace(0, len(middle_s) - 1, min(len(middle_s), ZERO_INSTANTS)).round().astype(int)]
        zero_N2 = [sum(zero.variances(np.array([at_s]), np.ones(1))) for at_s in some_s]
        scale_rel = np.hypot(stay.part_u_rel_span(index), self.body.u_N / self.W)
        noise_N2 = stay.noise_N(index) ** 2 / self.rate_Hz
        u = np.sqrt((np.interp(middle_s, some_s, zero_N2) + noise_N2) / self.W**2 + (scale_rel * share) ** 2)
        alpha = share if rig.has_platform else 1.0 - share
        rows = zip(middle_s.tolist(), alpha.tolist(), u.tolist(), (read >= HALF_READ).tolist(), strict=True)
        return [(t, a, v) if known else (t, None, None) for t, a, v, known in rows]

    def _mean_load(self, index: tuple[int, ...], rows: NDArray[np.bool_] | slice) -> Reliance:
        """Return what the mean load of some cells over some rows relies on."""
        bar, feet = (tuple(i for i in index if i in part) for part in (self._rig.bar_index, self._rig.platform_index))
        noise_N2, t_s = 0.0, self.t[rows]
        for part, zero in ((bar, self.around.zeros.bar), (feet, self.around.zeros.feet)):
            if part:
                # Noise of rows that the zero was read from has gone with the zero: twice the covariance is taken off.
                noise_N2 += self.stay.noise_N(part) ** 2 * (1.0 - 2.0 * zero.overlap(t_s))
        return load_reliance(self.stay, index, self.cells[rows].mean(axis=0), t_s, noise_N2 / max(1, len(t_s)))

    def _between_edges(self, index: tuple[int, ...], load_N: Array) -> Reliance:
        """Return what the mean of a part's load over the hold relies on: an edge counts with the load that it cuts."""
        mean_N, edges = float(load_N[self.inside].mean()), self.edges
        cut = [
            u_s * (float(np.interp(at_s, self.t, load_N)) - mean_N) / edges.duration_s
            for u_s, at_s in zip(self.u_edges_s, (edges.onset_s, edges.release_s), strict=True)
        ]
        load = self._mean_load(index, self.inside)
        return replace(load, own_variance=load.own_variance + cut[0] ** 2 + cut[1] ** 2)

    def _u_shares(self, share: Assistance) -> tuple[float, float]:
        """Return the standard uncertainties of beta and alpha."""
        rig, zeros = self.stay.rig, self.around.zeros
        bar = self._between_edges(rig.bar_index, self.bar)
        u_beta = u_share(share.beta_mean, bar, self.body, self.stay, zeros)
        if not share.direct:
            return u_beta, u_beta
        feet = self._between_edges(rig.platform_index, self.feet)
        return u_beta, u_share(share.alpha_mean, feet, self.body, self.stay, zeros)

    def _third_support(self) -> list[ThirdSupport]:
        if not self.stay.rig.has_platform:
            return []
        if self.around.stuck:
            # What is missing may be what the cell does not say.
            self.flags.append("cell_stuck")
            return []
        found = third_supports(self.t, self.sum, self.W, self.rate_Hz, self.edges.onset_s, self.edges.release_s)
        if found:
            self.flags.append("third_support")
        return found

    def _misclosure(self, quiet: NDArray[np.bool_], third: list[ThirdSupport]) -> tuple[float | None, float | None]:
        """Return what is left open outside of third supports; over all of the hold where one never ends."""
        free = quiet & ~near_spans(self.t, [(x.start_s, x.end_s) for x in third], 1.0)
        if free.sum() >= FEWEST_ROWS:
            quiet = free
        if not quiet.any():
            return None, None
        closure = quiet_misclosure(self.sum, self.W, quiet)
        if closure is None:
            return None, None
        everything = self._mean_load(self.stay.rig.bar_index + self.stay.rig.platform_index, quiet)
        return closure, u_share(1.0 + closure, everything, self.body, self.stay, self.around.zeros)

    def _contacts(self, share: Assistance) -> list[FootContact]:
        """Return the feet's contacts within the hold, those of stepping up and down left out."""
        if not self.stay.rig.has_platform or share.alpha_median >= UNASSISTED_BELOW:
            return []
        feet = self.feet[self.inside]
        noise_N = 1.4826 * median(np.abs(feet - median(feet)))
        found = foot_contacts(self.t, self.feet, self.W, noise_N)
        within = [c for c in found if c.start_s > self.edges.onset_s + 0.05 and c.end_s < self.edges.release_s - 0.005]
        # Feet that catch the body while the hands let go belong to the regrip.
        return [c for c in within if not any(c.start_s < b + 0.1 and c.end_s > a - 0.1 for a, b in self.edges.gaps)]

    def _disturbed(self, contacts: list[FootContact], third: list[ThirdSupport]) -> NDArray[np.bool_]:
        disturbed = near_spans(self.t, self.edges.gaps, 3.0)
        disturbed |= near_spans(self.t, [(c.start_s, c.end_s) for c in contacts], 1.0)
        edges = [(x, x) for one in third for x in (one.start_s, one.end_s)]
        disturbed |= near_spans(self.t, edges, 1.0)
        sides = self._sides()
        if sides is not None:
            disturbed |= side_changes(*sides, self.W, self.rate_Hz)
        return disturbed

    def _body_stretch(self) -> NDArray[np.bool_]:
        """Return the rows between the catch's ringing and the letting go."""
        return np.asarray((self.t > self.edges.onset_s + CATCH_S) & (self.t < self.edges.release_s - LET_GO_S))

    def _sides(self) -> tuple[Array, Array] | None:
        """Return the loads left and right of the bar's middle; None where the rig cannot tell them apart."""
        rig = self.stay.rig
        left = [i for i in rig.bar_index if rig.channels[i].x_m < 0]
        right = [i for i in rig.bar_index if rig.channels[i].x_m > 0]
        if not left or not right:
            return None
        load = self.cells
        return load[:, left].sum(axis=1), load[:, right].sum(axis=1)

    def _lateral_m(self) -> tuple[float | None, float | None]:
        """Return where the load hangs between the bar's cells, and its standard uncertainty."""
        if self._sides() is None:
            return None, None
        return lateral(self.stay, self.around.zeros, self.t[self.inside], self.cells[self.inside])

    def _grip_changes(self) -> list[float]:
        sides = self._sides()
        if sides is None:
            self.flags.append("hands_not_told_apart")
            return []
        left, right = sides
        return grip_changes_s(self.t[self.inside], left[self.inside], right[self.inside], self.W, self.rate_Hz)

    def _motion(
        self,
        disturbed: NDArray[np.bool_],
        body: NDArray[np.bool_],
        third: list[ThirdSupport],
        *,
        unassisted: bool,
        direct: bool,
    ) -> tuple[Swing | None, list[Travel]]:
        """Return swing and travel, each read with the other taken out.

        A pull has a swing's rhythm and a swing's beat a pull's time scale. So pulls are found first, the swing is read
        between them, its beat is taken off, and both are read again.
        """
        travel = self._travel(self.sum, disturbed, body, third, direct)
        if not (unassisted and direct):
            self.flags.append("swing_only_with_free_feet" if self.stay.rig.has_platform else "swing_needs_platform")
            return None, travel
        breaks_s = [x for one in third for x in (one.start_s, one.end_s)]
        before: NDArray[np.bool_] | None = None
        for _ in range(MOTION_TURNS):
            apart = disturbed | near_spans(self.t, [(x.start_s, x.end_s) for x in travel], PULL_REACH_S)
            if before is not None and np.array_equal(apart, before):
                break  # between the same pulls the same swing would be read again
            before = apart
            swing, beat_Hz, reason = self._swing(apart, body, breaks_s)
            if beat_Hz is None:
                break
            wave = np.zeros_like(self.sum)
            wave[body] = self.W * beat_wave(self.sum[body] / self.W - 1.0, ~apart[body], beat_Hz, self.rate_Hz)
            travel = self._travel(self.sum - wave, disturbed, body, third, direct)
        if reason:
            self.flags.append(reason)
        return swing, travel

    def _swing(
        self, disturbed: NDArray[np.bool_], body: NDArray[np.bool_], breaks_s: list[float]
    ) -> tuple[Swing | None, float | None, str]:
        """Return the swing, its beat's frequency where it stands out, and why something is missing."""
        if body.sum() < 8:
            return None, None, "too_short_for_swing"
        if disturbed[body].mean() > DISTURBED_MOST:
            return None, None, "swing_disturbed"
        course = swing_course(
            self.t[body],
            self.sum[body],
            self.W,
            self.rate_Hz,
            disturbed[body],
            breaks_s,
            self._bounce_Hz,
            self.around.pendulum,
        )
        if course is None:
            return None, None, "too_short_for_swing"
        known = np.isfinite(course.amplitude_deg)
        amplitude = course.amplitude_deg[known]
        rows = [
            (float(t), None if np.isnan(a) else float(a), None if np.isnan(a) else float(u))
            for t, a, u in zip(course.t_s, course.amplitude_deg, course.u_deg, strict=True)
        ]
        if not known.any():
            return Swing(None, None, None, rows), None, "swing_below_noise" if course.drowned else "swing_disturbed"
        largest = float(amplitude.max())
        if largest < LEAST_DEG:
            return Swing(None, None, None, []), None, "swing_below_0.8_deg"
        if course.frequency_Hz is None:
            # Without a line of its own in the spectrum it may be anything that moves slowly.
            return Swing(None, None, None, []), None, "swing_frequency_unclear"
        rms = float(np.sqrt(np.mean(amplitude**2) / 2))
        kappa, kappa_u = self.around.pendulum.kappa, self.around.pendulum.kappa * self.around.pendulum.u_rel
        return Swing(largest, rms, course.frequency_Hz, rows, kappa, kappa_u), 2 * course.frequency_Hz, ""

    def _travel(
        self,
        sum_N: Array,
        disturbed: NDArray[np.bool_],
        body: NDArray[np.bool_],
        third: list[ThirdSupport],
        direct: bool,
    ) -> list[Travel]:
        if not direct:
            self.flags.append("travel_needs_platform")
            return []
        withheld = disturbed | near_spans(self.t, [(x.start_s, x.end_s) for x in third], 1.5)
        if third:
            self.flags.append("travel_withheld_while_account_open")
        found: list[Travel] = []
        free = body & ~withheld
        edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            found += travels(self.t[a:b], sum_N[a:b], self.W, self.stay.rig.gravity_m_s2, self.rate_Hz)
        return found
