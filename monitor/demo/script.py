"""What invented people do on the rig: behaviours put one after the other, as tracks of a plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.demo.body import ONE_HAND, Plan, hang_sag_m, standing_leg_m
from monitor.demo.people import Person


@dataclass(frozen=True, slots=True)
class ScriptedEvent:
    """Something that the script makes happen: kind, times since the start of the session, size."""

    kind: str
    start_s: float
    end_s: float
    size: float = 0.0


class Script:
    """Builds one session. Each method does one thing at ``now_s`` and moves ``now_s`` on to its end.

    Durations and sizes are varied a little by ``rng``, as a person would.
    """

    _SLACK_m = 0.0016
    """How far the arms are stretched when a standing person holds the bar: a few per cent of bodyweight."""

    def __init__(self, person: Person, rng: np.random.Generator) -> None:
        self.person = person
        self.now_s = 0.0
        self.events: list[ScriptedEvent] = []
        self._rng = rng
        self._stand_m = standing_leg_m(person)
        self._sag_m = hang_sag_m(person)
        self.plan = Plan()
        self.plan.leg_m.first = self._stand_m
        self.plan.arm_m.first = self._SLACK_m

    def _vary(self, value: float, share: float = 0.12) -> float:
        return value * (1 + share * (2 * self._rng.random() - 1))

    def wait(self, duration_s: float) -> None:
        """Go on as before."""
        self.now_s += duration_s

    # On and off the platform

    def step_on(self) -> None:
        """Come from the floor: first one foot, then the weight, then two or three small steps to the middle."""
        plan, t = self.plan, self.now_s
        side = 1 if self._rng.random() < 0.5 else -1
        plan.cop_x_m.first, plan.cop_y_m.first = 0.09 * side, -0.06
        plan.floor.to(self._vary(0.8, 0.05), t, 0.16)
        plan.floor.to(self._vary(0.74, 0.05), t + 0.22, 0.3)
        plan.floor.to(0.0, t + 0.55, 0.32)
        plan.rise_m.by(0.05, t + 0.5, 0.62)
        plan.cop_y_m.to(0.01, t + 0.5, 0.9)
        self.now_s = t + 1.0
        self.shuffle(2 + int(self._rng.random() < 0.5), side=-side)

    def shuffle(self, steps: int, *, side: int = 1) -> None:
        """Make small steps on the spot: weight to one foot, a dip and a lift, weight to the other."""
        plan = self.plan
        for _ in range(steps):
            period = self._vary(0.52)
            plan.cop_x_m.to(self._vary(0.075, 0.3) * side, self.now_s, 0.45 * period)
            plan.cop_y_m.by((self._rng.random() - 0.5) * 0.03, self.now_s, period)
            lift = self._vary(0.012, 0.35)
            plan.rise_m.by(lift, self.now_s, 0.5 * period)
            plan.rise_m.by(-lift, self.now_s + 0.42 * period, 0.5 * period)
            self.now_s += period
            side = -side
        plan.cop_x_m.to((self._rng.random() - 0.5) * 0.012, self.now_s - 0.1, 0.55)
        plan.cop_y_m.to(0.012 + (self._rng.random() - 0.5) * 0.02, self.now_s - 0.1, 0.7)
        self.now_s += 0.4

    def stand(self, duration_s: float) -> None:
        """Stand quietly, shifting weight a little now and then."""
        end_s = self.now_s + duration_s
        while self.now_s + 3.5 < end_s:
            self.plan.cop_x_m.to((self._rng.random() - 0.5) * 0.03, self.now_s + 1.0, self._vary(1.6))
            self.plan.cop_y_m.to(0.01 + (self._rng.random() - 0.5) * 0.03, self.now_s + 1.3, self._vary(1.4))
            self.now_s += self._vary(3.2)
        self.now_s = max(self.now_s, end_s)

    def step_off(self) -> None:
        """Walk off: a few steps, then one foot on the floor, then both."""
        self.shuffle(2)
        plan, t = self.plan, self.now_s
        plan.cop_y_m.to(-0.1, t, 0.7)
        plan.floor.to(self._vary(0.55), t + 0.35, 0.22)
        plan.rise_m.by(-0.05, t + 0.3, 0.55)
        plan.floor.to(1.0, t + 0.75, 0.2)
        self.now_s = t + 1.2

    # The bar

    def reach_up(self) -> None:
        """Raise the arms (the centre of mass goes up by their share) and lay the hands on the bar."""
        plan, t = self.plan, self.now_s
        duration = self._vary(0.8)
        plan.rise_m.by(self._vary(0.055), t, duration)
        plan.cop_y_m.by(0.012, t, duration)
        touch = t + 0.9 * duration
        for k in range(2):
            light = self._vary(0.035 + 0.02 * k, 0.4)
            plan.rest_share.to(light, touch + 0.17 * k, 0.09)
            plan.rest_share.to(0.35 * light, touch + 0.17 * k + 0.09, 0.12)
        plan.rest_share.to(0.0, touch + 0.5, 0.3)
        plan.grip.to(1.0, touch + 0.2, 0.4)
        plan.tremor.to(0.5, touch, 0.6)
        self.now_s = touch + self._vary(0.75)

    def _load_the_arms(self, within_s: float) -> None:
        plan, t = self.plan, self.now_s
        plan.legs.to(0.0, t, within_s)
        plan.tremor.to(1.0, t, within_s)
        plan.lateral_kicks.append((t + 0.6 * within_s, (self._rng.random() - 0.5) * 0.16))
        plan.swing_drive.append((t + 0.5 * within_s, 0.5, math.radians(self._vary(1.4, 0.5)) * 1.5))

    def hang(self) -> None:
        """Take the whole weight on the hands: the knees bend, the feet leave the platform."""
        within = self._vary(0.36, 0.2)
        self._load_the_arms(within)
        self.plan.swing_damping.to(0.035, self.now_s, 1.0)
        self.now_s += within

    def hang_assisted(self, share: float) -> None:
        """Hang with the feet on the platform, bearing a share of bodyweight."""
        within = self._vary(0.45, 0.2)
        self._load_the_arms(within)
        self.plan.feet_share.to(share, self.now_s + 0.25 * within, self._vary(0.7))
        self.plan.cop_y_m.to(0.06, self.now_s, 0.8)
        self.plan.swing_damping.to(0.25, self.now_s, 0.5)
        self.now_s += within

    def shift_feet(self, share: float, duration_s: float) -> None:
        """Take weight off the feet, or on to them, over a while."""
        plan, t = self.plan, self.now_s
        pieces = max(1, round(duration_s / 4))
        start = plan.feet_share.final
        for k in range(pieces):
            aim = start + (share - start) * (k + 1) / pieces
            noise = 0.0 if k == pieces - 1 else (self._rng.random() - 0.5) * 0.012
            plan.feet_share.to(aim + noise, t + k * duration_s / pieces, 1.15 * duration_s / pieces)
            plan.cop_x_m.to((self._rng.random() - 0.5) * 0.05, t + k * duration_s / pieces, 2.0)
        self.now_s = t + duration_s

    def let_go_from_assisted(self) -> None:
        """Straighten the legs until they bear everything, then open the hands."""
        plan, t = self.plan, self.now_s
        within = self._vary(0.4)
        plan.legs.to(1.0, t, within)
        plan.feet_share.to(0.0, t + 0.1, within)
        plan.grip.to(0.0, t + 0.75 * within, 0.28)
        self._back_on_feet(t + within)

    def let_go(self) -> None:
        """Open the hands and land on the platform a hand's breadth below or less."""
        plan, t = self.plan, self.now_s
        drop = self._vary(0.016, 0.35)
        landing = self._SLACK_m - self._sag_m - drop
        plan.leg_m.to(landing, t - 0.4, 0.2)
        plan.legs.to(1.0, t - 0.2, 0.1)
        plan.grip.to(0.0, t, self._vary(0.07, 0.3))
        plan.leg_m.to(landing - 0.02, t + 0.08, 0.22)
        plan.leg_m.to(self._stand_m, t + 0.38, self._vary(1.0))
        self._back_on_feet(t + 0.3)

    def _back_on_feet(self, at_s: float) -> None:
        plan = self.plan
        plan.tremor.to(0.3, at_s, 0.8)
        plan.rise_m.by(-0.05, at_s + 0.15, self._vary(0.9))
        plan.cop_y_m.to(0.0, at_s - 0.2, 1.2)
        plan.cop_x_m.to(0.02 * (self._rng.random() - 0.5), at_s, 0.8)
        plan.swing_damping.to(0.3, at_s, 0.3)
        self.now_s = at_s + 0.9

    # While hanging

    def shoulders(self, rise_m: float, duration_s: float) -> None:
        """Draw the shoulder blades down (the body rises) or let them up (negative)."""
        self.plan.rise_m.by(rise_m, self.now_s, duration_s)
        self.plan.tremor.by(0.35 if rise_m > 0 else -0.35, self.now_s, duration_s)
        self.events.append(ScriptedEvent("travel", self.now_s, self.now_s + duration_s, rise_m))
        self.now_s += duration_s

    def swing(self, amplitude_deg: float) -> None:
        """Set the body swinging by a push from the hips; it dies away by itself."""
        duration = 0.7
        omega0 = 2 * math.pi * self.person.swing_Hz
        self.plan.swing_drive.append((self.now_s, duration, math.radians(amplitude_deg) * omega0 * 1.18))
        self.events.append(ScriptedEvent("swing", self.now_s, self.now_s + duration, amplitude_deg))
        self.now_s += duration

    def touch(self, share: float, duration_s: float = 0.35) -> None:
        """Let a foot brush the platform."""
        plan, t = self.plan, self.now_s
        plan.cop_x_m.to(0.05, t - 0.3, 0.2)
        plan.feet_share.by(share, t, 0.35 * duration_s)
        plan.feet_share.by(-share, t + 0.6 * duration_s, 0.4 * duration_s)
        self.events.append(ScriptedEvent("touch", t, t + duration_s, share))
        self.now_s += duration_s

    def change_hands(self, to_right: bool, hold_s: float) -> None:
        """Hang from one hand for a while; the load goes to its side and comes back."""
        plan, t = self.plan, self.now_s
        side = 1.0 if to_right else -1.0
        middle = 1.0 - 2.0 * self.person.left_share
        plan.hands_x.to(0.97 * side - middle, t, self._vary(0.5))
        plan.grip.to(ONE_HAND, t + 0.35, 0.16)
        plan.tremor.by(0.6, t + 0.3, 0.4)
        back = t + 0.5 + hold_s
        plan.grip.to(1.0, back, 0.14)
        plan.hands_x.to(0.0, back + 0.05, self._vary(0.55))
        plan.tremor.by(-0.6, back, 0.6)
        plan.lateral_kicks += [(t + 0.45, 0.05 * side), (back + 0.4, -0.12 * side)]
        self.events.append(ScriptedEvent("one_hand", t, back, side))
        self.now_s = back + 0.7

    def third_support(self, share: float, duration_s: float) -> None:
        """Let a knee rest against a door frame that no cell sees."""
        plan, t = self.plan, self.now_s
        plan.frame_share.to(share, t, 0.6)
        plan.frame_share.to(0.0, t + duration_s - 0.6, 0.6)
        self.events.append(ScriptedEvent("third_support", t, t + duration_s, share))
        self.now_s = t + duration_s

    def regrip(self) -> None:
        """Drop on to the feet for a moment, set the hands anew and hang again: the bar is free for less than 1 s."""
        plan, t = self.plan, self.now_s
        landing = self._SLACK_m - self._sag_m - 0.012
        plan.leg_m.to(landing, t - 0.4, 0.2)
        plan.legs.to(1.0, t - 0.2, 0.12)
        plan.grip.to(0.0, t, 0.06)
        plan.leg_m.to(landing + 0.028, t + 0.12, 0.3)
        free = self._vary(0.42, 0.2)
        plan.grip.to(1.0, t + free, 0.12)
        self.events.append(ScriptedEvent("regrip", t, t + free))
        self.now_s = t + free + 0.12
        plan.legs.to(0.0, self.now_s, 0.3)
        plan.lateral_kicks.append((self.now_s, (self._rng.random() - 0.5) * 0.2))
        plan.swing_drive.append((self.now_s, 0.5, math.radians(self._vary(1.2, 0.5)) * 1.5))
        self.now_s += 0.3

    # Not a hold

    def lean(self, share: float, duration_s: float) -> None:
        """Rest the hands on the bar."""
        plan, t = self.plan, self.now_s
        plan.rest_share.to(share, t, 0.8)
        plan.rest_share.to(0.0, t + duration_s - 0.6, 0.6)
        self.events.append(ScriptedEvent("lean", t, t + duration_s, share))
        self.now_s = t + duration_s

    def tug(self, share: float) -> None:
        """Try the bar with a short pull."""
        plan, t = self.plan, self.now_s
        plan.rest_share.to(share, t, 0.12)
        plan.rest_share.to(0.0, t + 0.13, 0.12)
        self.events.append(ScriptedEvent("tug", t, t + 0.25, share))
        self.now_s = t + 0.6

    def hop(self) -> None:
        """Bend the knees and leave the platform for a moment."""
        plan, t = self.plan, self.now_s
        plan.leg_m.by(-0.07, t, 0.5)
        plan.leg_m.by(0.13, t + 0.5, 0.18)
        plan.leg_m.by(-0.06, t + 0.7, 0.14)
        self.events.append(ScriptedEvent("hop", t, t + 1.2))
        self.now_s = t + 1.6
