"""Zeros and bodyweight by now, from half-seconds in which the body is quiet: the rules are those of a session."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from monitor.measures.assistance import UNASSISTED_BELOW
from monitor.measures.live.uncertainty import LiveUncertainty, LiveWeight
from monitor.measures.picture import WeightSource
from monitor.measures.session_analysis import GIVEN_U_REL
from monitor.rig import Rig
from monitor.signals.bodyweight import FEWEST_HANGING, FEWEST_STANDING, SAME_LEVEL, agreeing_level
from monitor.signals.windows import OFF_ZERO_N, ON_ONE_PART, PRESENT_N, is_unloaded
from monitor.statistics import robust_sd

ZERO_GAIN, ZERO_GAIN_IN_A_HANG = 0.3, 0.1
"""How far a zero follows each reading of it (exponential smoothing; common practice, no source): slower while somebody
hangs, since a toe may rest on the platform."""

REMEMBERED = 40
"""Quiet windows that the bodyweight is read from: the last 20 s of them, so that another person shows soon."""


@dataclass(frozen=True, slots=True)
class QuietWindow:
    """Means and standard deviations (N) of half a second in which the body was quiet, zeros taken off."""

    end_s: float
    bar_N: float
    feet_N: float
    bar_sd_N: float
    feet_sd_N: float


class LiveWeighing:
    """Follows the zeros of bar and platform, and the weight of whoever is on the rig.

    Attributes
    ----------
    zero_bar_N, zero_feet_N : float
    has_stood : bool
        Whether the person has stood quietly on the platform.
    """

    def __init__(self, rig: Rig, uncertainty: LiveUncertainty) -> None:
        self._has_bar, self._has_platform = rig.has_bar, rig.has_platform
        self._uncertainty = uncertainty
        self.zero_bar_N = self.zero_feet_N = 0.0
        self.forget_person()

    def forget_person(self) -> None:
        """Forget who was weighed; zeros are kept."""
        self._levels_N: deque[float] = deque(maxlen=REMEMBERED)
        self.has_stood = False
        self._weight: LiveWeight | None = None

    def weight(self, stated_N: float | None) -> LiveWeight | None:
        """Return bodyweight by now: the stated one (N), else what was weighed, else None."""
        if stated_N is not None:
            u_N = GIVEN_U_REL * stated_N
            return LiveWeight(stated_N, u_N, u_N, "given")
        return self._weight

    def push(self, window: QuietWindow) -> None:
        """Read zeros of parts that carry nothing, and the person's weight."""
        self._read_zeros(window)
        self._weigh(window.bar_N, window.feet_N)

    def _read_zeros(self, window: QuietWindow) -> None:
        bar_N, feet_N = window.bar_N, window.feet_N
        empty = abs(bar_N) + abs(feet_N) < PRESENT_N / 2
        feet_off = bool(is_unloaded(feet_N, window.feet_sd_N))
        if self._has_bar and is_unloaded(bar_N, window.bar_sd_N) and (empty or feet_N > PRESENT_N):
            self.zero_bar_N = _bounded(self.zero_bar_N + ZERO_GAIN * bar_N)
            self._uncertainty.zero_read("bar", window.end_s)
        if empty and self._has_platform and feet_off:
            self.zero_feet_N = _bounded(self.zero_feet_N + ZERO_GAIN * feet_N)
            self._uncertainty.zero_read("platform", window.end_s)
        weight = self._weight
        hangs_free = bar_N > PRESENT_N and feet_off
        if hangs_free and weight is not None and abs(bar_N / weight.bodyweight_N - 1) < UNASSISTED_BELOW:
            self.zero_feet_N = _bounded(self.zero_feet_N + ZERO_GAIN_IN_A_HANG * feet_N)
            self._uncertainty.zero_read("platform", window.end_s)

    def _weigh(self, bar_N: float, feet_N: float) -> None:
        if not self._has_platform or bar_N + feet_N < PRESENT_N:
            return
        standing = feet_N > ON_ONE_PART * (bar_N + feet_N)
        if self.has_stood and not standing:
            return
        if standing and not self.has_stood:
            self.has_stood = True
            self._levels_N.clear()
        known_N = self._weight.bodyweight_N if self._weight else None
        if not self._has_bar and known_N is not None and abs(feet_N / known_N - 1) > SAME_LEVEL:
            # Hands on a bar that nobody weighs make the feet lighter: only a heavier level is news.
            if feet_N < known_N:
                return
            self._levels_N.clear()
        self._levels_N.append(bar_N + feet_N)
        levels_N = np.array(self._levels_N)
        agreeing = agreeing_level(levels_N, FEWEST_STANDING if standing else FEWEST_HANGING)
        if agreeing is not None:
            level_N = agreeing[0]
            # Of all windows, not only those that agree: while people change places, it must be large.
            u_own_N = robust_sd(levels_N, level_N) / math.sqrt(len(levels_N))
            source: WeightSource = "standing" if standing else "hang"
            u_N = math.hypot(u_own_N, self._uncertainty.u_weight_N(source, level_N))
            self._weight = LiveWeight(level_N, u_N, u_own_N, source)


def _bounded(zero_N: float) -> float:
    """Return a zero that may be taken off: never more than in a session."""
    return min(max(zero_N, -OFF_ZERO_N), OFF_ZERO_N)
