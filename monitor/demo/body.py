"""A body between bar and platform: true vertical loads at any time, from small dynamic parts.

The centre of mass moves up and down on two one-sided spring-dampers, the arms (which only pull) and the legs (which
only push), so catching the bar overshoots and landing strikes by themselves. On top come motions that the person
performs or that are prescribed by law: the fore-aft swing, the shoulder's travel, breathing, tremor; whoever holds the
body then bears their m a. The sum of all supports is W + m a in every step, by construction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.demo.motion import Breathing, Restless, Track
from monitor.demo.pendulum import Pendulum, vertical_over_weight
from monitor.demo.people import Person
from monitor.rig import STANDARD_GRAVITY_m_s2 as G

Array = NDArray[np.float64]

HANDS_APART_m = 0.50
"""Distance between the hands on the bar."""

ONE_HAND = 0.62
"""Grip of a single hand: it stretches more under the same load than two do."""


@dataclass(slots=True)
class Plan:
    """What a person means to do: one track for each thing that can be done.

    Heights are of the centre of mass, in metres above upright standing with the arms raised.

    Attributes
    ----------
    grip : Track
        How far the hands hold: 0 off the bar, 1 both, ``ONE_HAND`` one.
    arm_m, leg_m : Track
        Heights at which arms and legs just go slack.
    legs : Track
        How far the legs stand: 1 bearing as springs, 0 not.
    feet_share : Track
        Share of bodyweight that feet press down on purpose while hanging.
    feet_wobble : Track
        Rms of that share's wandering, as a fraction of the share.
    rest_share : Track
        Share of bodyweight with which the hands lean on (or tug) the bar.
    floor : Track
        Part of the legs' load that the floor beside the platform takes: 1 away, 0 with both feet on the platform.
    frame_share : Track
        Share of bodyweight that a third support takes, a door frame for example, which no cell sees.
    rise_m : Track
        Deliberate rises of the centre of mass: shoulders, arms, steps.
    hands_x : Track
        Where the load hangs between the hands: -1 in the left, +1 in the right.
    cop_x_m, cop_y_m : Track
        Centre of pressure of the feet on the platform.
    tremor : Track
        Tremor as a factor of the person's own.
    swing_damping : Track
        Damping ratio of the fore-aft swing.
    swing_drive : list of (start_s, duration_s, rad_per_s)
        Pushes, each a smooth change of the swing's angular velocity.
    lateral_kicks : list of (start_s, amplitude)
        Starts of decaying lateral swings, in units of ``hands_x``.
    """

    grip: Track = field(default_factory=Track)
    arm_m: Track = field(default_factory=Track)
    legs: Track = field(default_factory=lambda: Track(1.0))
    leg_m: Track = field(default_factory=Track)
    feet_share: Track = field(default_factory=Track)
    feet_wobble: Track = field(default_factory=lambda: Track(0.03))
    rest_share: Track = field(default_factory=Track)
    floor: Track = field(default_factory=lambda: Track(1.0))
    frame_share: Track = field(default_factory=Track)
    rise_m: Track = field(default_factory=Track)
    hands_x: Track = field(default_factory=Track)
    cop_x_m: Track = field(default_factory=Track)
    cop_y_m: Track = field(default_factory=Track)
    tremor: Track = field(default_factory=lambda: Track(0.25))
    swing_damping: Track = field(default_factory=lambda: Track(0.3))
    swing_drive: list[tuple[float, float, float]] = field(default_factory=list)
    lateral_kicks: list[tuple[float, float]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Loads:
    """True loads of a stretch of time, without noise.

    Attributes
    ----------
    t_s : (n,) float
        Middles of the internal steps, since the start of the session.
    cells_N : (n, 6) float
        bar left, bar right, foot fl, fr, rl, rr.
    beside_N : (n,) float
        What is borne beside the rig: by the floor, or by a third support.
    rise_m_s2 : (n,) float
        Vertical acceleration a of the centre of mass, upwards: bar + platform + beside = W + m a.
    swing_rad : (n,) float
    fatigue : float
        0 fresh, 1 at the end of one's strength, at the end of the stretch.
    """

    t_s: Array
    cells_N: Array
    beside_N: Array
    rise_m_s2: Array
    swing_rad: Array
    fatigue: float

    @property
    def bar_N(self) -> Array:
        """Load on the bar, (n,) N."""
        return np.asarray(self.cells_N[:, 0] + self.cells_N[:, 1])

    @property
    def platform_N(self) -> Array:
        """Load on the platform, (n,) N."""
        return np.asarray(self.cells_N[:, 2:].sum(axis=1))


def standing_leg_m(person: Person) -> float:
    """Return the height at which the legs go slack so that the person stands at height 0, m."""
    return G / (2 * math.pi * person.leg_Hz) ** 2


def hang_sag_m(person: Person) -> float:
    """Return how far the body's full weight stretches the arms, m."""
    return G / (2 * math.pi * person.arm_Hz) ** 2


class Body:
    """One person's stay on the rig, played forward in time.

    Parameters
    ----------
    person : Person
    plan : Plan
    rng : numpy Generator
    platform_m : (float, float)
        Width (x) and depth (y) of the platform, between the cells.
    bar_half_m : float
        Distance of each bar cell from the bar's middle.
    """

    _LATERAL_HZ = 0.47
    _LATERAL_DAMPING = 0.11
    _RECOVERY_S = 90.0

    def __init__(
        self,
        person: Person,
        plan: Plan,
        rng: np.random.Generator,
        *,
        platform_m: tuple[float, float] = (0.50, 0.40),
        bar_half_m: float = 0.55,
    ) -> None:
        self.person = person
        self.plan = plan
        self._platform_m = platform_m
        self._bar_half_m = bar_half_m
        self._t_s = 0.0
        self._height_m = plan.leg_m.first - standing_leg_m(person)
        self._speed_m_s = 0.0
        self._fatigue = 0.0
        self._bar_share = 0.0
        self._by_hands = 0.0
        self._pendulum = Pendulum(person.kappa, person.com_distance_m)
        self._tremor = Restless(rng, 6.3, 11.5, tones=18)
        self._tremor_swell = Restless(rng, 0.2, 0.9, tones=6)
        self._wobble = Restless(rng, 0.07, 1.6, slope=0.7)
        self._hands = Restless(rng, 0.03, 0.8, slope=1.0)
        self._sway_x = Restless(rng, 0.04, 1.3, slope=1.0)
        self._sway_y = Restless(rng, 0.04, 1.3, slope=1.0)
        self._pulse = Restless(rng, 1.05, 1.25, tones=3)
        self._breathing = Breathing(person.breaths_per_min / 60, person.breath_mm * 1e-3, rng.random() * 6.28)

    def advance(self, steps: int, step_s: float, parts: int) -> Loads:
        """Play ``steps`` internal steps; the swing is integrated once in ``parts`` of them (a divisor of ``steps``)."""
        person, plan = self.person, self.plan
        weight_N, mass_kg = person.weight_N, person.mass_kg
        t_s: Array = self._t_s + (np.arange(steps, dtype=np.float64) + 0.5) * step_s
        fatigue = self._tire(t_s, steps * step_s)

        grip = plan.grip.value(t_s)
        legs = plan.legs.value(t_s)
        by_hands = np.clip(grip / ONE_HAND, 0.0, 1.0) * (1.0 - legs)
        theta, swing_m_s2 = self._swing(t_s, step_s, parts, by_hands)
        own_m_s2 = plan.rise_m.acceleration(t_s) + self._breathing.acceleration(t_s) + swing_m_s2
        own_m_s2 += self._shaking_N(t_s, fatigue) / mass_kg
        share = plan.feet_share.value(t_s)
        tired = 0.05 * fatigue**2
        wandering = 1.0 + plan.feet_wobble.value(t_s) * self._wobble.value(t_s)
        feet_N = np.maximum(0.0, (share + tired * (share > 0.03)) * wandering) * weight_N
        rest_N = plan.rest_share.value(t_s) * weight_N
        frame_N = plan.frame_share.value(t_s) * weight_N
        bar_N, legs_N = self._fall_and_hold(
            step_s,
            (grip, plan.arm_m.value(t_s), legs, plan.leg_m.value(t_s)),
            (feet_N, rest_N, frame_N),
            own_m_s2,
            by_hands,
        )
        floor = np.clip(plan.floor.value(t_s), 0.0, 1.0)
        platform_N = (1.0 - floor) * legs_N
        self._t_s += steps * step_s
        self._bar_share = float(np.mean(bar_N)) / weight_N
        return Loads(
            t_s=t_s,
            cells_N=self._over_cells(t_s, bar_N, platform_N),
            beside_N=floor * legs_N + frame_N,
            rise_m_s2=(bar_N + legs_N + frame_N) / mass_kg - G,
            swing_rad=theta,
            fatigue=self._fatigue,
        )

    def _tire(self, t_s: Array, duration_s: float) -> Array:
        """Let the last stretch's load wear the grip down, or rest restore it (a running damage, invented)."""
        before = self._fatigue
        if self._bar_share > 0.1:
            self._fatigue = min(1.0, before + duration_s * self._bar_share**2 / self.person.endurance_s)
        else:
            self._fatigue = before * math.exp(-duration_s / self._RECOVERY_S)
        return before + (self._fatigue - before) * (t_s - self._t_s) / duration_s

    def _shaking_N(self, t_s: Array, fatigue: Array) -> Array:
        level = self.plan.tremor.value(t_s) * self.person.tremor_N * (1.0 + 1.3 * fatigue)
        swell = np.maximum(0.2, 1.0 + 0.35 * self._tremor_swell.value(t_s))
        return np.asarray(level * swell * self._tremor.value(t_s) + 0.15 * self._pulse.value(t_s))

    def _swing(self, t_s: Array, step_s: float, parts: int, by_hands: Array) -> tuple[Array, Array]:
        """Return the fore-aft angle and the upward acceleration that it gives the centre of mass.

        The swing's vertical speed counts as far as the hands bear the body, so that it is handed over, not lost,
        when they let go; off the bar the swing dies within a second.
        """
        steps = len(t_s) // parts
        middles = t_s.reshape(steps, parts).mean(axis=1)
        drive = np.zeros(steps)
        for start_s, duration_s, rad_s in self.plan.swing_drive:
            s = (middles - start_s) / duration_s
            inside = (s > 0) & (s < 1)
            drive[inside] += rad_s / duration_s * 30 * (s[inside] * (1 - s[inside])) ** 2
        off_bar = 1.0 - by_hands.reshape(steps, parts).mean(axis=1)
        damping = self.plan.swing_damping.value(middles) + off_bar
        theta, omega, alpha = self._pendulum.advance(steps, step_s * parts, parts, damping, drive)
        distance_m = self.person.com_distance_m
        upwards_m_s2 = (vertical_over_weight(theta, omega, alpha, distance_m) - 1.0) * G
        upwards_m_s = distance_m * omega * np.sin(theta)
        change = np.diff(by_hands, prepend=self._by_hands) / step_s
        self._by_hands = float(by_hands[-1])
        return theta, by_hands * upwards_m_s2 + change * upwards_m_s

    def _fall_and_hold(
        self,
        h: float,
        springs: tuple[Array, Array, Array, Array],
        pressed_N: tuple[Array, Array, Array],
        own_m_s2: Array,
        by_hands: Array,
    ) -> tuple[Array, Array]:
        """Step the height on its two one-sided supports; return the loads of arms and legs, (n,) N each.

        The height that is stepped is that of the centre of mass less the person's own motions, the length that the
        springs see. ``springs`` are grip and slack height of the arms, then of the legs; ``pressed_N`` what feet, hands
        and a third support bear on purpose. ``own_m_s2`` is taken off always, and borne as a force only by what is in
        contact.
        """
        m = self.person.mass_kg
        arm_w, leg_w = 2 * math.pi * self.person.arm_Hz, 2 * math.pi * self.person.leg_Hz
        ka, ca = m * arm_w**2, 2 * self.person.arm_damping * arm_w * m
        kl, cl = m * leg_w**2, 2 * self.person.leg_damping * leg_w * m
        z, v = self._height_m, self._speed_m_s
        bars: list[float] = []
        feet: list[float] = []
        # Plain floats are several times faster here than elements of arrays.
        columns = [column.tolist() for column in (*springs, *pressed_N, own_m_s2, by_hands)]
        for g, ra, s, rl, press, rest, frame, own, hands in zip(*columns, strict=True):
            bar = rest
            if g > 0.0 and z < ra:
                bar += g * (ka * (ra - z) - ca * v) + hands * m * own
            if bar < 0.0:
                bar = 0.0
            leg = press
            if s > 0.0 and z < rl:
                leg += s * (kl * (rl - z) - cl * v + m * own)
            if leg < 0.0:
                leg = 0.0
            v += ((bar + leg + frame) / m - G - own) * h
            z += v * h
            bars.append(bar)
            feet.append(leg)
        self._height_m, self._speed_m_s = z, v
        return np.array(bars), np.array(feet)

    def _over_cells(self, t_s: Array, bar_N: Array, platform_N: Array) -> Array:
        """Share the loads between the cells by the places where they act (two moments each)."""
        plan = self.plan
        hands = plan.hands_x.value(t_s) + (1.0 - 2.0 * self.person.left_share) + 0.008 * self._hands.value(t_s)
        omega = 2 * math.pi * self._LATERAL_HZ
        for start_s, amplitude in plan.lateral_kicks:
            since = t_s - start_s
            if since[-1] > 0:
                since = np.maximum(since, 0.0)
                hands = hands + amplitude * np.exp(-self._LATERAL_DAMPING * omega * since) * np.sin(omega * since)
        x_bar = np.clip(hands, -1.0, 1.0) * HANDS_APART_m / 2
        right = 0.5 * (1.0 + x_bar / self._bar_half_m)
        width, depth = self._platform_m
        cop_x = plan.cop_x_m.value(t_s) + 0.0025 * self._sway_x.value(t_s)
        cop_y = plan.cop_y_m.value(t_s) + 0.0045 * self._sway_y.value(t_s)
        to_right = 0.5 + np.clip(cop_x / width, -0.5, 0.5)
        to_front = 0.5 + np.clip(cop_y / depth, -0.5, 0.5)
        cells = np.empty((len(t_s), 6))
        cells[:, 0] = bar_N * (1 - right)
        cells[:, 1] = bar_N * right
        cells[:, 2] = platform_N * to_front * (1 - to_right)
        cells[:, 3] = platform_N * to_front * to_right
        cells[:, 4] = platform_N * (1 - to_front) * (1 - to_right)
        cells[:, 5] = platform_N * (1 - to_front) * to_right
        return cells
