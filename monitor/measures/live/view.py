"""The live view: ticks to pictures, twenty a second, slightly smoothed and causal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.holds.edges import TUG_S
from monitor.holds.live_detector import ASSUMED_BODYWEIGHT_N, LiveHoldDetector
from monitor.measures.live.motion import SWING_LOOK_S, TRAVEL_LOOK_S, LiveMotion, RecentLoads
from monitor.measures.live.surplus import SURPLUS_LOOK_S, present_surplus
from monitor.measures.live.uncertainty import LiveUncertainty, LiveWeight
from monitor.measures.live.weighing import LiveWeighing, QuietWindow
from monitor.measures.misclosure import OPEN_FRACTION
from monitor.measures.picture import HoldClock, Picture, Scene
from monitor.measures.session_analysis import AnalysisSettings
from monitor.measures.stillness import LOAD_BELOW, SWING_BELOW_DEG
from monitor.measures.swing import LEAST_DEG
from monitor.rig import Rig
from monitor.signals.forward_fill import ForwardFill
from monitor.signals.iir_filters import StreamingFilter, low_pass
from monitor.signals.inferred_bar import CONTACT_N, LEAST_INFERRED_S
from monitor.signals.row_buffer import Rows, summed
from monitor.signals.session_loads import Array
from monitor.signals.windows import PRESENT_N, WINDOW_S, is_quiet
from monitor.statistics import mean, standard_deviation

SMOOTH_Hz = 2.0
"""Numbers on a screen are smoothed to this (common practice, no source)."""

ACCOUNT_OPENS, ACCOUNT_CLOSES = OPEN_FRACTION, 0.6 * OPEN_FRACTION
"""The account opens above the first and closes below the second, so that it does not flicker (common practice, no
source)."""

SLOW_EVERY_S, TRAVEL_EVERY_S = WINDOW_S, 1.0
"""How often the rig is weighed and the swing looked for, and how often travel is (common practice, no source)."""

LOOK_BACK_S = 40.0
"""Rows kept: more than the longest look back, ``SWING_LOOK_S``, and than a hold's onset is dated again."""

LET_GO_SCENE_S = 4.0
LEANING_FROM = 0.03
"""The scene after a release lasts so long; a bar that carries more than this share of bodyweight is leaned on (common
practice, no source)."""

FEET_OFF_LIVE_S = 0.25
"""A bar that nobody weighs: once the feet are off for longer, what it carries is not known at this instant (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class _Shares:
    """The shares of one instant; None where they are not known."""

    beta: float | None = None
    u_beta: float | None = None
    alpha: float | None = None
    u_alpha: float | None = None


class LiveView:
    """Follows one clock segment: ``append`` takes clean rows, ``tick`` returns the next picture.

    Columns of its rows: bar, feet, smoothed bar, smoothed feet, smoothed right-left moment.

    Parameters
    ----------
    rig : Rig
    rate_Hz : float
    tick_rows : int
    analysis_settings : AnalysisSettings
    u_zero_N, covariance : (channels,), (channels, channels) float
        As for ``LiveUncertainty``.
    """

    def __init__(
        self,
        rig: Rig,
        rate_Hz: float,
        tick_rows: int,
        analysis_settings: AnalysisSettings,
        u_zero_N: Array,
        covariance: Array,
    ) -> None:
        self._rig, self._rate_Hz, self._tick_rows = rig, rate_Hz, tick_rows
        self.analysis_settings = analysis_settings
        self._uncertainty = LiveUncertainty(rig, u_zero_N, covariance)
        self._weighing = LiveWeighing(rig, self._uncertainty)
        self._motion = LiveMotion()
        self._rows = Rows(5)
        self._cells = Rows(len(rig.channels))
        self._fill = ForwardFill(len(rig.channels))
        self._smooth = StreamingFilter(low_pass(2, SMOOTH_Hz, rate_Hz))
        self._watch = LiveHoldDetector(tick_rows, rate_Hz, TUG_S if rig.has_bar else LEAST_INFERRED_S)
        self._bar, self._feet = list(rig.bar_index), list(rig.platform_index)
        self._has_bar, self._has_platform, self._names = rig.has_bar, rig.has_platform, rig.names
        self._measures_sum = rig.has_bar and rig.has_platform
        self._x_m = np.array([channel.x_m for channel in rig.channels])
        self._left = [i for i in self._bar if self._x_m[i] < 0]
        self._right = [i for i in self._bar if self._x_m[i] > 0]
        self._tick = 0
        self._feet_off_ticks = 0
        self._scene: Scene = "empty"
        self._scene_since_s = 0.0
        self._account_open = False
        self._account_open_until_s = 0.0
        self._surplus: float | None = None
        self.lost = 0
        self.spikes = 0

    def session_over(self) -> None:
        """Forget the person: the rig is empty."""
        self._watch.reset()
        self._weighing.forget_person()
        self._motion = LiveMotion()

    def append(self, t_s: Array, load_N: Array) -> None:
        """Take clean rows (n,), (n, channels); pictures are made tick by tick afterwards."""
        filled = self._fill.push(load_N)
        rows = np.empty((len(t_s), 5))
        rows[:, 0], rows[:, 1] = summed(filled, self._bar), summed(filled, self._feet)
        rows[:, 4] = summed(filled * self._x_m, self._bar)
        rows[:, 2:] = self._smooth.push(rows[:, (0, 1, 4)])
        self._rows.append(t_s, rows)
        self._cells.append(t_s, load_N)

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
            self._weigh(end, now_s)
            self._look_for_motion(end)
            self._rows.drop_before(end - round(LOOK_BACK_S * self._rate_Hz))
            self._cells.drop_before(end - round(LOOK_BACK_S * self._rate_Hz))
        weight = self._weight()
        due = self._watch.tick(bar_N, weight.bodyweight_N if weight else None, self._rows, end)
        self._set_scene(now_s, bar_N, mean(feet), weight)
        self._look_for_surplus(end, weight)
        return self._picture(now_s, first, end, weight), due

    def _loads(self, first: int, end: int) -> tuple[Array, Array]:
        """Return bar and feet of some rows, the zeros by now taken off."""
        rows = self._rows.load(first, end)
        return rows[:, 0] - self._weighing.zero_bar_N, rows[:, 1] - self._weighing.zero_feet_N

    def _recent(self, end: int, seconds: float) -> RecentLoads:
        first = max(end - round(seconds * self._rate_Hz), self._rows.first)
        bar_N, feet_N = self._loads(first, end)
        t_s, cells_N = self._rows.t_s(first, end), self._cells.load(first, end)
        return RecentLoads(t_s, bar_N, feet_N, cells_N, self._left, self._right, self._rate_Hz)

    def _weight(self) -> LiveWeight | None:
        return self._weighing.weight(self.analysis_settings.bodyweight_N)

    def _infer_bar(self, first: int, end: int) -> None:
        """Write W - P into a tick's rows of a bar that nobody weighs; 0 before anybody stood, and without the feet."""
        rows = self._rows.load(first, end)
        weight, zero_N = self._weight(), self._weighing.zero_feet_N
        on = mean(rows[:, 1]) - zero_N > CONTACT_N
        self._feet_off_ticks = 0 if on else self._feet_off_ticks + 1
        feet_known = on or self._feet_off_ticks * self._tick_rows <= FEET_OFF_LIVE_S * self._rate_Hz
        known = feet_known and weight is not None and self._weighing.has_stood
        for bar, feet in ((0, 1), (2, 3)):
            rows[:, bar] = weight.bodyweight_N - (rows[:, feet] - zero_N) if known and weight else 0.0

    def _weigh(self, end: int, now_s: float) -> None:
        """Read zeros and weight from the last half second if the body was quiet in it."""
        bar, feet = self._loads(end - round(WINDOW_S * self._rate_Hz), end)
        if len(bar) < 4 or self._surplus is not None:
            return
        # Where the bar's load is only inferred, the sum is bodyweight whatever the body does.
        total = bar + feet if self._has_bar else feet
        if is_quiet(mean(total), standard_deviation(total)):
            bar_N = mean(bar) if self._has_bar else 0.0
            window = QuietWindow(now_s, bar_N, mean(feet), standard_deviation(bar), standard_deviation(feet))
            self._weighing.push(window)

    def _look_for_surplus(self, end: int, weight: LiveWeight | None) -> None:
        """Look for load that is not the hanging person's."""
        self._surplus, hold = None, self._watch.hold
        if self._scene != "hanging" or hold is None or weight is None or not self._measures_sum:
            return
        first = max(end - round(SURPLUS_LOOK_S * self._rate_Hz), self._rows.first)
        bar_N, feet_N = self._loads(first, end)
        t_s, weight_N = self._rows.t_s(first, end), weight.bodyweight_N
        self._surplus = present_surplus(t_s, bar_N + feet_N, weight_N, self._rate_Hz, hold.onset_s)

    def _look_for_motion(self, end: int) -> None:
        """Look for swing, and once a second for travel, in the running hold."""
        weight, hold = self._weight(), self._watch.hold
        if self._watch.phase not in ("provisional", "running") or hold is None:
            return
        if weight is None or not self._measures_sum:
            return
        recent, settings = self._recent(end, SWING_LOOK_S), self.analysis_settings
        weight_N = weight.bodyweight_N
        self._motion.look_for_swing(recent, hold.onset_s, self._account_open_until_s, weight_N, settings.pendulum)
        if (
            end % round(TRAVEL_EVERY_S * self._rate_Hz) < self._tick_rows
            and not self._account_open
            and self._surplus is None
        ):
            recent = self._recent(end, TRAVEL_LOOK_S)
            self._motion.look_for_travel(recent, hold.onset_s, weight_N, self._rig.gravity_m_s2)

    def _set_scene(self, now_s: float, bar_N: float, feet_N: float, weight: LiveWeight | None) -> None:
        hold, phase = self._watch.hold, self._watch.phase
        release_s = None if hold is None else hold.release_s
        weight_N = weight.bodyweight_N if weight else ASSUMED_BODYWEIGHT_N
        scene: Scene
        if phase in ("provisional", "running") and hold is not None:
            scene = "hanging"
        elif phase == "ended" and release_s is not None and now_s - release_s < LET_GO_SCENE_S:
            scene = "let_go"
        elif abs(bar_N) + abs(feet_N) < PRESENT_N:
            scene = "empty"
        elif bar_N > LEANING_FROM * weight_N:
            scene = "leaning"
        else:
            scene = "standing"
        if scene != self._scene:
            self._scene, self._scene_since_s = scene, now_s
            if scene == "hanging":
                self._motion = LiveMotion()

    def _clock(self, now_s: float) -> HoldClock | None:
        hold = self._watch.hold
        if hold is None:
            return None
        if hold.release_s is not None:
            return HoldClock(hold.onset_s, hold.release_s - hold.onset_s, hold.provisional, ended=True)
        return HoldClock(hold.onset_s, max(0.0, now_s - hold.onset_s), hold.provisional, ended=False)

    def _picture(self, now_s: float, first: int, end: int, weight: LiveWeight | None) -> Picture:
        loads = self._rows.load(end - 1, end)[0]
        bar_N, feet_N = float(loads[2]) - self._weighing.zero_bar_N, float(loads[3]) - self._weighing.zero_feet_N
        on_rig = weight if self._scene != "empty" else None
        shares = self._shares(bar_N, feet_N, on_rig, now_s) if on_rig else _Shares()
        still, misclosure = self._stillness(end, on_rig) if on_rig else (None, None)
        hangs = self._scene == "hanging"
        swing = self._motion.swing_deg if hangs else None
        if swing is not None and swing[0] < LEAST_DEG:
            swing = None
        shoulders, certainty = self._motion.shoulders() if hangs else (None, None)
        return Picture(
            t_s=now_s,
            scene=self._scene,
            scene_since_s=self._scene_since_s,
            hold=self._clock(now_s),
            bodyweight_N=weight.bodyweight_N if weight else None,
            bodyweight_u_N=weight.u_N if weight else None,
            bodyweight_source=weight.source if weight else None,
            bar_N=bar_N if self._has_bar else None,
            feet_N=feet_N if self._has_platform else None,
            beta=shares.beta,
            u_beta=shares.u_beta,
            alpha=shares.alpha,
            u_alpha=shares.u_alpha,
            alpha_direct=self._has_platform,
            beta_inferred=not self._has_bar,
            misclosure=misclosure,
            misclosure_open=self._judge_account(misclosure, still, now_s),
            surplus=self._surplus,
            lateral_m=float(loads[4]) / bar_N if len(self._bar) > 1 and bar_N > PRESENT_N else None,
            swing_deg=swing[0] if swing else None,
            u_swing_deg=swing[1] if swing else None,
            still=still,
            travel_mm=self._motion.travel_mm,
            shoulders=shoulders,
            shoulders_certainty=certainty,
            rate_Hz=self._rate_Hz,
            lost=self.lost,
            spikes=self.spikes,
            curve_names=self._names,
            curve_t_s=self._cells.t_s(first, end).copy(),
            curve_N=self._cells.load(first, end).copy(),
        )

    def _shares(self, bar_N: float, feet_N: float, weight: LiveWeight, now_s: float) -> _Shares:
        beta = bar_N / weight.bodyweight_N
        u_beta = self._uncertainty.u_beta(beta, weight, now_s)
        if not self._has_platform:
            return _Shares(beta, u_beta, 1.0 - beta, u_beta)
        alpha = feet_N / weight.bodyweight_N
        if self._surplus is not None or (self._scene == "hanging" and alpha > 1.0):
            return _Shares()  # whose load it is cannot be told
        u_alpha = self._uncertainty.u_alpha(alpha, weight, now_s)
        if self._has_bar:
            return _Shares(beta, u_beta, alpha, u_alpha)
        if self._scene == "hanging":
            return _Shares(1.0 - alpha, u_alpha, alpha, u_alpha)
        return _Shares(None, None, alpha, u_alpha)

    def _stillness(self, end: int, weight: LiveWeight) -> tuple[bool | None, float | None]:
        """Return whether the body was still over the last second, and what was missing of bodyweight in it.

        A slow swing hardly moves the load, so it counts by itself.
        """
        if not self._has_bar:
            return None, None
        bar, feet = self._loads(end - round(self._rate_Hz), end)
        total = bar + feet
        mean_N = mean(total)
        swing = self._motion.swing_deg
        swings = swing is not None and swing[0] > SWING_BELOW_DEG
        still = standard_deviation(total, mean_N) < LOAD_BELOW * weight.bodyweight_N and not swings
        return still, mean_N / weight.bodyweight_N - 1.0 if self._has_platform else None

    def _judge_account(self, misclosure: float | None, still: bool | None, now_s: float) -> bool:
        """Open the account only while the body is still; close it as soon as the second's mean is closed again."""
        if misclosure is None or abs(misclosure) < ACCOUNT_CLOSES:
            self._account_open = False
        elif still and abs(misclosure) > ACCOUNT_OPENS:
            self._account_open = True
        if self._account_open or self._surplus is not None:
            self._account_open_until_s = now_s
        return self._account_open
