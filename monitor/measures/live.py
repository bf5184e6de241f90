"""The live view: ticks to pictures, twenty a second, each a little smoothed and never ahead of what is known."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import TUG_S
from monitor.holds.touches import LEAST_FRACTION as LEAST_TOUCH
from monitor.holds.watch import HoldWatch
from monitor.measures.assistance import UNASSISTED_BELOW
from monitor.measures.closure import OPEN_FRACTION
from monitor.measures.disturbance import near_spans, side_changes
from monitor.measures.live_errors import LiveErrors
from monitor.measures.picture import HoldClock, Picture, Scene, Shoulders, WeightSource
from monitor.measures.session_analysis import GIVEN_U_REL, AnalysisSettings
from monitor.measures.swing import LEAST_DEG, WINDOW_S, beat_wave, swing_course
from monitor.measures.travel import travels
from monitor.records.hold_result import Travel
from monitor.rig import Rig
from monitor.runs import runs_of
from monitor.signals import sliding
from monitor.signals.forward_fill import ForwardFill
from monitor.signals.iir_filters import StreamingFilter, low_pass
from monitor.signals.rows import Rows, summed
from monitor.signals.session_loads import Array
from monitor.signals.unweighed_bar import CONTACT_N, LEAST_INFERRED_S
from monitor.signals.windows import OFF_ZERO_N, PRESENT_N, QUIET_FLOOR_N, QUIET_OF_LOAD
from monitor.statistics import mean, median, robust_sd, standard_deviation

SMOOTH_Hz = 2.0
QUIET_S = 0.5
STILL_BELOW = 0.006
"""Scatter of S over a second, as a share of bodyweight, below which a body is called still (common practice)."""

STILL_SWING_DEG = 1.0
"""A slow swing hardly moves the load; above this it is not called still (common practice, no source)."""

OPENS, CLOSES = OPEN_FRACTION, 0.6 * OPEN_FRACTION
"""The account is told to be open above the first and closed again below the second: it must not flicker."""

SLOW_EVERY_S = 0.5
TRAVEL_EVERY_S = 1.0
TRAVEL_WINDOW_S = 12.0
SPECTRUM_S = 16.0
LET_GO_S = 4.0
KEEP_S = 40.0
LEANING_FROM = 0.03
CATCH_S = 2.0
GAP_REACH_S, TOUCH_REACH_S, PULL_REACH_S = 3.0, 1.0, 0.35
"""For so long before and after a regrip, a touch, a pull its movement covers swing and shoulders."""

SAME_PULL_S = 0.8
SAME_LEVEL = 0.004
FEET_OFF_LIVE_S = 0.25
"""A bar that nobody weighs: feet that are off for longer end what can be known at this instant."""


def _bounded(zero_N: float) -> float:
    """Return a zero that the live view may take off: never more than a session may."""
    return min(max(zero_N, -OFF_ZERO_N), OFF_ZERO_N)


def _is_among(one: Travel, others: list[Travel]) -> bool:
    """Say whether a pull is one of some others, found in other readings."""
    return any(abs(one.start_s + one.end_s - other.start_s - other.end_s) < 2 * SAME_PULL_S for other in others)


@dataclass
class _Body:
    """What is known of the person now; ``zero_*`` are the parts' zeros in N."""

    zero_bar_N: float = 0.0
    zero_feet_N: float = 0.0
    weights_N: deque[float] | None = None
    bodyweight_N: float | None = None
    u_own_N: float | None = None
    source: WeightSource | None = None


class LiveView:
    """Follows one clock segment; ``push`` takes clean rows, returns one picture a tick.

    Columns of its own rows: bar, feet, smoothed bar, smoothed feet, smoothed right-left moment.
    """

    def __init__(
        self, rig: Rig, rate_Hz: float, tick_rows: int, analysis_settings: AnalysisSettings, errors: LiveErrors
    ) -> None:
        self._rig, self._rate_Hz, self._tick_rows = rig, rate_Hz, tick_rows
        self.analysis_settings = analysis_settings
        self._errors = errors
        self._rows = Rows(5)
        self._cells = Rows(len(rig.channels))
        self._fill = ForwardFill(len(rig.channels))
        self._smooth = StreamingFilter(low_pass(2, SMOOTH_Hz, rate_Hz))
        self._watch = HoldWatch(tick_rows, rate_Hz, TUG_S if rig.has_bar else LEAST_INFERRED_S)
        self._bar, self._feet = list(rig.bar_index), list(rig.platform_index)
        self._has_bar, self._has_platform, self._names = rig.has_bar, rig.has_platform, rig.names
        self._measures_sum = rig.has_bar and rig.has_platform
        self._x_m = np.array([channel.x_m for channel in rig.channels])
        self._left = [i for i in self._bar if self._x_m[i] < 0]
        self._right = [i for i in self._bar if self._x_m[i] > 0]
        self._tick = 0
        self._body = _Body()
        self._off_ticks = 0
        self._scene: Scene = "empty"
        self._scene_since_s = 0.0
        self._swing: tuple[float, float] | None = None
        self._beat_Hz: float | None = None
        self._open = False
        self._open_until_s = 0.0
        self._travels: list[Travel] = []
        self._found_before: list[Travel] = []
        self._beat_seen = False
        self.lost = 0
        self.spikes = 0

    def session_over(self) -> None:
        """Forget the person: the rig is empty."""
        self._watch.reset()
        self._body = _Body(self._body.zero_bar_N, self._body.zero_feet_N)
        self._forget_motion()

    def _forget_motion(self) -> None:
        self._swing, self._beat_Hz, self._beat_seen = None, None, False
        self._travels, self._found_before = [], []

    def append(self, t_s: Array, load_N: Array) -> None:
        """Take clean rows (n,), (n, channels); pictures are made tick by tick afterwards."""
        filled = self._fill.push(load_N)
        bar, feet = summed(filled, self._bar), summed(filled, self._feet)
        moment = summed(filled * self._x_m, self._bar)
        rows = np.empty((len(t_s), 5))
        rows[:, 0], rows[:, 1], rows[:, 4] = bar, feet, moment
        rows[:, 2:] = self._smooth.push(rows[:, (0, 1, 4)])
        self._rows.append(t_s, rows)
        self._cells.append(t_s, load_N)

    def _loads(self, first: int, end: int) -> tuple[Array, Array]:
        """Return bar and feet of some rows with the zeros of now taken off."""
        rows = self._rows.load(first, end)
        return rows[:, 0] - self._body.zero_bar_N, rows[:, 1] - self._body.zero_feet_N

    def tick(self) -> tuple[Picture, bool]:
        """Make the next tick's picture; the second value is True when a hold is due to be measured."""
        n = self._tick_rows
        first, end = self._tick * n, (self._tick + 1) * n
        self._tick += 1
        if not self._has_bar:
            self._infer_bar(first, end)
        bar, feet = self._loads(first, end)
        bar_N = mean(bar)
        now_s = float(self._rows.t_s(end - 1, end)[0])
        if self._tick % max(1, round(SLOW_EVERY_S * self._rate_Hz / n)) == 0:
            self._slowly(end, now_s)
            keep = end - round(KEEP_S * self._rate_Hz)
            self._rows.drop_before(keep)
            self._cells.drop_before(keep)
        weight_N, u_N = self._bodyweight()
        due = self._watch.tick(bar_N, weight_N, self._rows, end)
        self._see_scene(now_s, bar_N, mean(feet), weight_N)
        return self._picture(now_s, first, end, weight_N, u_N), due

    def _infer_bar(self, first: int, end: int) -> None:
        """Write W - P into a tick's rows of a bar that nobody weighs; 0 before anybody stood, and without the feet."""
        rows = self._rows.load(first, end)
        weight_N, zero_N = self._bodyweight()[0], self._body.zero_feet_N
        on = mean(rows[:, 1]) - zero_N > CONTACT_N
        self._off_ticks = 0 if on else self._off_ticks + 1
        seen = on or self._off_ticks * self._tick_rows <= FEET_OFF_LIVE_S * self._rate_Hz
        known = seen and weight_N is not None and self._body.source == "standing"
        for bar, feet in ((0, 1), (2, 3)):
            rows[:, bar] = (weight_N or 0.0) - (rows[:, feet] - zero_N) if known else 0.0

    def _bodyweight(self) -> tuple[float | None, float | None]:
        """Return bodyweight and its standard uncertainty, N."""
        if self.analysis_settings.bodyweight_N is not None:
            return self.analysis_settings.bodyweight_N, GIVEN_U_REL * self.analysis_settings.bodyweight_N
        body = self._body
        if body.bodyweight_N is None or body.u_own_N is None or body.source is None:
            return None, None
        return body.bodyweight_N, math.hypot(body.u_own_N, self._errors.u_weight_N(body.source, body.bodyweight_N))

    def _slowly(self, end: int, now_s: float) -> None:
        """Twice a second: zeros, weight, swing, travel."""
        first = end - round(QUIET_S * self._rate_Hz)
        bar, feet = self._loads(first, end)
        if len(bar) < 4:
            return
        # Where the bar's load is only inferred, the sum is bodyweight whatever the body does.
        total = bar + feet if self._has_bar else feet
        mean_bar, mean_feet, mean_N = mean(bar), mean(feet), mean(total)
        quiet = standard_deviation(total, mean_N) < QUIET_FLOOR_N + QUIET_OF_LOAD * abs(mean_N)
        if quiet:
            self._weigh(mean_bar, mean_feet, standard_deviation(bar), standard_deviation(feet), now_s)
        if self._watch.phase in ("provisional", "running"):
            self._see_swing(end)
            if (self._tick * self._tick_rows) % round(TRAVEL_EVERY_S * self._rate_Hz) < self._tick_rows:
                self._see_travel(end)

    def _weigh(self, bar_N: float, feet_N: float, bar_sd_N: float, feet_sd_N: float, now_s: float) -> None:
        """Read zeros of free parts, and the person's weight, from half a quiet second."""
        body = self._body
        if not self._has_bar:
            bar_N = 0.0
        empty = abs(bar_N) + abs(feet_N) < PRESENT_N / 2
        on_feet = self._has_bar and feet_N > PRESENT_N
        if self._bar and abs(bar_N) < OFF_ZERO_N and bar_sd_N < QUIET_FLOOR_N and (empty or on_feet):
            body.zero_bar_N = _bounded(body.zero_bar_N + 0.3 * bar_N)
            self._errors.zero_read("bar", now_s)
        if empty and self._feet and abs(feet_N) < OFF_ZERO_N and feet_sd_N < QUIET_FLOOR_N:
            body.zero_feet_N = _bounded(body.zero_feet_N + 0.3 * feet_N)
            self._errors.zero_read("platform", now_s)
        weight_N = body.bodyweight_N
        free = bar_N > PRESENT_N and abs(feet_N) < OFF_ZERO_N and feet_sd_N < QUIET_FLOOR_N
        if free and weight_N is not None and abs(bar_N / weight_N - 1) < UNASSISTED_BELOW:
            body.zero_feet_N = _bounded(body.zero_feet_N + 0.1 * feet_N)
            self._errors.zero_read("platform", now_s)
        if not self._feet or feet_N + bar_N < PRESENT_N:
            return
        standing = feet_N > 0.85 * (bar_N + feet_N)
        if not standing and body.source == "standing":
            return
        if standing and body.source != "standing":
            body.weights_N, body.source = None, "standing"
        if not self._has_bar and weight_N is not None and abs(feet_N / weight_N - 1) > SAME_LEVEL:
            # Hands on a bar that nobody weighs make the feet lighter: only a heavier level is news.
            if feet_N < weight_N:
                return
            body.weights_N = None
        if body.source is None:
            body.source = "hang"
        if body.weights_N is None:
            body.weights_N = deque(maxlen=40)
        body.weights_N.append(bar_N + feet_N)
        if len(body.weights_N) >= 3:
            values = np.array(body.weights_N)
            body.bodyweight_N = median(values)
            body.u_own_N = robust_sd(values) / math.sqrt(len(values))

    def _disturbed(self, end: int, rows: int, weight_N: float) -> NDArray[np.bool_]:
        """Return (rows,) True where hands or feet move the body, as the analysis of the whole hold leaves them out."""
        bar, feet = self._loads(end - rows, end)
        let_go = bar < 0.5 * median(bar)
        stepped = np.abs(feet - median(feet)) > LEAST_TOUCH * weight_N
        disturbed = sliding.near(let_go, round(GAP_REACH_S * self._rate_Hz))
        disturbed |= sliding.near(stepped, round(TOUCH_REACH_S * self._rate_Hz))
        if self._left and self._right:
            cells = np.nan_to_num(self._cells.load(end - rows, end))
            sides = cells[:, self._left].sum(axis=1), cells[:, self._right].sum(axis=1)
            disturbed |= side_changes(*sides, weight_N, self._rate_Hz)
        return disturbed

    def _see_swing(self, end: int) -> None:
        """Measure the swing over the last eight seconds of an unassisted hang.

        Without a line of its own in the spectrum it may be anything that moves slowly: that takes the seconds before
        as well. A swing that had one is followed while its beat stands out of the noise.
        """
        before, self._swing, self._beat_Hz = self._swing, None, None
        weight_N, _ = self._bodyweight()
        hold = self._watch.hold
        if weight_N is None or hold is None or not self._measures_sum:
            return
        since_s = max(hold.onset_s + CATCH_S, self._open_until_s)
        first = end - round(SPECTRUM_S * self._rate_Hz)
        first += int(np.count_nonzero(self._rows.t_s(first, end) < since_s))
        rows = end - max(first, self._rows.first)
        if rows < WINDOW_S * self._rate_Hz:
            return
        t_s = self._rows.t_s(end - rows, end)
        bar, feet = self._loads(end - rows, end)
        if median(feet) > UNASSISTED_BELOW * weight_N:
            return
        pulls = [(one.start_s, one.end_s) for one in self._travels]
        apart = self._disturbed(end, rows, weight_N) | near_spans(t_s, pulls, PULL_REACH_S)
        course = swing_course(t_s, bar + feet, weight_N, self._rate_Hz, apart, pendulum=self.analysis_settings.pendulum)
        if course is None or not np.isfinite(course.amplitude_deg[-1]):
            return
        if course.frequency_Hz is not None or before is not None:
            self._swing = (float(course.amplitude_deg[-1]), float(course.u_deg[-1]))
            self._beat_Hz = course.frequency_Hz and 2 * course.frequency_Hz

    def _see_travel(self, end: int) -> None:
        """Look for pulls in the last seconds; one that is found in two looks is kept.

        Nothing is told before the swing beside it can be seen: its beat looks like small pulls. A swing that begins
        looks like one, too, until it goes on.
        """
        weight_N, _ = self._bodyweight()
        hold = self._watch.hold
        if weight_N is None or hold is None or not self._measures_sum:
            return
        rows = round(TRAVEL_WINDOW_S * self._rate_Hz)
        t_s = self._rows.t_s(end - rows, end)
        inside = t_s > hold.onset_s + CATCH_S
        if np.count_nonzero(inside) < WINDOW_S * self._rate_Hz or self._open:
            return
        bar, feet = self._loads(end - rows, end)
        free = inside & ~self._disturbed(end, len(t_s), weight_N)
        total = bar + feet
        if self._beat_Hz is not None:
            if not self._beat_seen:
                # What was told before the swing stood out may have been its beat: it is looked for once more.
                self._travels = [one for one in self._travels if one.end_s < t_s[inside][0]]
                self._beat_seen = True
            apart = free & ~near_spans(t_s, [(one.start_s, one.end_s) for one in self._travels], PULL_REACH_S)
            beat = total[inside] / weight_N - 1.0
            total[inside] -= weight_N * beat_wave(beat, apart[inside], self._beat_Hz, self._rate_Hz)
        found: list[Travel] = []
        for a, b in runs_of(free):
            found += travels(t_s[a:b], total[a:b], weight_N, self._rig.gravity_m_s2, self._rate_Hz)
        for one in found:
            if _is_among(one, self._found_before) and not _is_among(one, self._travels):
                self._travels.append(one)
        self._found_before = found

    def _see_scene(self, now_s: float, bar_N: float, feet_N: float, weight_N: float | None) -> None:
        hold, phase = self._watch.hold, self._watch.phase
        scene: Scene
        if phase in ("provisional", "running") and hold is not None:
            scene = "hanging"
        elif phase == "ended" and hold is not None and hold.release_s is not None and now_s - hold.release_s < LET_GO_S:
            scene = "let_go"
        elif abs(bar_N) + abs(feet_N) < PRESENT_N:
            scene = "empty"
        elif bar_N > LEANING_FROM * (weight_N or 600.0):
            scene = "leaning"
        else:
            scene = "standing"
        if scene != self._scene:
            self._scene, self._scene_since_s = scene, now_s
            if scene == "hanging":
                self._forget_motion()

    def _clock(self, now_s: float) -> HoldClock | None:
        hold = self._watch.hold
        if hold is None:
            return None
        if hold.release_s is not None:
            return HoldClock(hold.onset_s, hold.release_s - hold.onset_s, hold.provisional, ended=True)
        return HoldClock(hold.onset_s, max(0.0, now_s - hold.onset_s), hold.provisional, ended=False)

    def _picture(self, now_s: float, first: int, end: int, weight_N: float | None, u_N: float | None) -> Picture:
        loads = self._rows.load(end - 1, end)[0]
        body = self._body
        bar_N, feet_N = float(loads[2]) - body.zero_bar_N, float(loads[3]) - body.zero_feet_N
        platform = self._has_platform
        beta = alpha = u_beta = u_alpha = closure = None
        still: bool | None = None
        if weight_N is not None and u_N is not None and self._scene != "empty":
            source: WeightSource = "given" if self.analysis_settings.bodyweight_N is not None else body.source or "hang"
            own_N = u_N if source == "given" else body.u_own_N or 0.0
            beta = bar_N / weight_N
            alpha = feet_N / weight_N if platform else 1.0 - beta
            u_beta = self._errors.u_beta(beta, source, weight_N, own_N, now_s)
            u_alpha = self._errors.u_alpha(alpha, source, weight_N, own_N, now_s) if platform else u_beta
            if not self._has_bar:
                beta, u_beta = (1.0 - alpha, u_alpha) if self._scene == "hanging" else (None, None)
            second = self._loads(end - round(self._rate_Hz), end)
            total = second[0] + second[1]
            mean_N = mean(total)
            swinging = self._swing is not None and self._swing[0] > STILL_SWING_DEG
            still = bool(standard_deviation(total, mean_N) < STILL_BELOW * weight_N) and not swinging
            if not self._has_bar:
                still = None
            elif platform:
                closure = mean_N / weight_N - 1.0
        swing = self._swing if self._scene == "hanging" else None
        shoulders, certainty = self._shoulders()
        moment = float(loads[4])
        lateral = moment / bar_N if len(self._bar) > 1 and bar_N > PRESENT_N else None
        return Picture(
            t_s=now_s,
            scene=self._scene,
            scene_since_s=self._scene_since_s,
            hold=self._clock(now_s),
            bodyweight_N=weight_N,
            bodyweight_u_N=u_N,
            bodyweight_source="given" if self.analysis_settings.bodyweight_N is not None else body.source,
            bar_N=bar_N if self._has_bar else None,
            feet_N=feet_N if platform else None,
            beta=beta,
            u_beta=u_beta,
            alpha=alpha,
            u_alpha=u_alpha,
            alpha_direct=platform,
            beta_inferred=not self._has_bar,
            misclosure=closure,
            misclosure_open=self._account_open(closure, still, now_s),
            lateral_m=lateral,
            swing_deg=swing[0] if swing and swing[0] >= LEAST_DEG else None,
            u_swing_deg=swing[1] if swing and swing[0] >= LEAST_DEG else None,
            still=still,
            travel_mm=sum(one.travel_mm for one in self._travels) if self._travels else None,
            shoulders=shoulders,
            shoulders_certainty=certainty,
            rate_Hz=self._rate_Hz,
            lost=self.lost,
            spikes=self.spikes,
            curve_names=self._names,
            curve_t_s=self._cells.t_s(first, end).copy(),
            curve_N=self._cells.load(first, end).copy(),
        )

    def _account_open(self, closure: float | None, still: bool | None, now_s: float) -> bool:
        """Open the account only while the body is still; close it as soon as the second's mean is closed again."""
        if closure is None or abs(closure) < CLOSES:
            self._open = False
        elif still and abs(closure) > OPENS:
            self._open = True
        if self._open:
            self._open_until_s = now_s
        return self._open

    def _shoulders(self) -> tuple[Shoulders | None, float | None]:
        """Return relaxed or drawn with a certainty, from the travel seen in this hold; None before any was seen."""
        if not self._travels or self._scene != "hanging":
            return None, None
        heights = np.concatenate([[0.0], np.cumsum([t.travel_mm for t in self._travels])])
        low, high = float(heights.min()), float(heights.max())
        both = {t.travel_mm > 0 for t in self._travels}
        drawn = heights[-1] - low > 0.5 * (high - low)
        return ("drawn" if drawn else "relaxed"), 0.9 if len(both) == 2 else 0.7
