"""What a person does, as courses over time: targets of the muscles, forces from outside, grips that open and close."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt, sosfiltfilt

from tests.physics.body import BELLY, SIDES, STEP_HZ, Setting
from tests.physics.people import Person

Array = NDArray[np.float64]
Shape = Literal["minimum-jerk", "trapezoid", "sine", "linear"]

GUIDED_z_m = 0.0621
"""The guide's spring of 2 Hz gives way by this much under a person: g / (2 pi 2)^2."""

GAINS = ("guide", "floor", "legs_left", "legs_right")
FORCES = ("push_x", "push_y", "lift")


def course(u: Array, shape: Shape) -> Array:
    """Return how far a movement from 0 to 1 is done at the share ``u`` of its time."""
    u = np.clip(u, 0.0, 1.0)
    if shape == "minimum-jerk":
        return np.asarray(10 * u**3 - 15 * u**4 + 6 * u**5)
    if shape == "sine":
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * u))
    if shape == "linear":
        return np.asarray(u)
    # Velocity rises for a third, stays, and falls for a third of the time.
    edge = 1.0 / 3.0
    top = 1.0 / (1.0 - edge)
    rise, fall = 0.5 * top * np.minimum(u, edge) ** 2 / edge, 0.5 * top * np.maximum(0, u - (1 - edge)) ** 2 / edge
    return np.asarray(rise + top * (np.clip(u, edge, 1.0) - edge) - fall)


@dataclass(frozen=True, slots=True)
class Grip:
    """From ``at_s`` on a hand holds the bar (or no longer does); ``soft_s`` is how gently it takes hold."""

    at_s: float
    side: str
    closed: bool
    soft_s: float = 0.06


@dataclass
class Script:
    """Courses at 960 a second, to be filled in by a scenario.

    ``events`` are what truth and comparison need to know; ``holds`` the times on the bar that are meant to be holds
    (from before the grip to after the release). ``catch_from_s``: both hands close at the first instant from then on at
    which the body no longer rises. ``jump_from_s``: from then until the catch the legs stop pushing as soon as the
    hands will come to the bar.
    """

    person: Person
    seconds: float
    seed: int
    name: str = ""
    setting: Setting = field(default_factory=Setting)
    grips: list[Grip] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    holds: list[tuple[float, float]] = field(default_factory=list)
    tags: set[str] = field(default_factory=set)
    catch_from_s: float | None = None
    jump_from_s: float | None = None

    def __post_init__(self) -> None:
        self.n = round(self.seconds * STEP_HZ)
        self.t_s: Array = np.arange(self.n) / STEP_HZ
        self.rng = np.random.default_rng([self.seed, self.person.seed, 0x5C21])
        self.tracks: dict[str, Array] = {}
        for name in GAINS:
            self.tracks[name] = np.full(self.n, 1.0)
        self.track("guide_z")[:] = GUIDED_z_m + 0.05
        for side in SIDES:
            self.track(f"elbow_{side}")[:] = self.person.elbow_bend_rad
            self.track(f"flex_{side}")[:] = self.person.shoulder_flex_rad
        self._breathe()

    def track(self, name: str) -> Array:
        """Return the course of an actuator, a gain or a force; zero until it is changed."""
        if name not in self.tracks:
            self.tracks[name] = np.zeros(self.n)
        return self.tracks[name]

    def go(self, name: str, at_s: float, length_s: float, to: float, shape: Shape = "minimum-jerk") -> None:
        """Move a course from where it is at ``at_s`` to another value, and leave it there."""
        values = self.track(name)
        first = min(self.n - 1, max(0, round(at_s * STEP_HZ)))
        start = values[first]
        u = (self.t_s[first:] - at_s) / max(length_s, 1e-9)
        values[first:] = start + (to - start) * course(u, shape)

    def bump(self, name: str, at_s: float, length_s: float, height: float, rise_s: float) -> None:
        """Add a plateau that rises and falls within ``rise_s``, from ``at_s`` to ``at_s + length_s``."""
        up = course((self.t_s - at_s) / rise_s, "minimum-jerk")
        down = course((self.t_s - at_s - length_s + rise_s) / rise_s, "minimum-jerk")
        self.track(name)[:] += height * (up - down)

    def both(self, name: str, at_s: float, length_s: float, to: float, shape: Shape = "minimum-jerk") -> None:
        """Move both sides' courses alike."""
        for side in SIDES:
            self.go(f"{name}_{side}", at_s, length_s, to, shape)

    def close(self, at_s: float, sides: tuple[str, ...] = SIDES, soft_s: float = 0.06) -> None:
        """Let hands take the bar."""
        self.grips += [Grip(at_s, side, True, soft_s) for side in sides]

    def open(self, at_s: float, sides: tuple[str, ...] = SIDES) -> None:
        """Let hands go."""
        self.grips += [Grip(at_s, side, False) for side in sides]

    def tremble(self, from_s: float, to_s: float, rms_N: float | None = None, growth: float = 0.0) -> None:
        """Let the shoulders tremble between 6 and 12 Hz, each on its own."""
        rms_N = self.person.tremor_N if rms_N is None else rms_N
        sos = butter(4, (6.5, 11.0), "bandpass", fs=STEP_HZ, output="sos")
        window = course((self.t_s - from_s) / 0.8, "sine") * course((to_s - self.t_s) / 0.3, "sine")
        window = window * (1 + growth * np.clip((self.t_s - from_s) / max(1.0, to_s - from_s), 0, 1))
        for side in SIDES:
            noise = sosfilt(sos, self.rng.standard_normal(self.n))
            self.track(f"shake_{side}")[:] += window * noise / np.std(noise) * rms_N / np.sqrt(2)

    def sway(self) -> None:
        """Let the guide wander as a standing body does: slowly, by some millimetres."""
        sos = butter(2, 0.5, "lowpass", fs=STEP_HZ, output="sos")
        for axis in "xy":
            slow = sosfiltfilt(sos, self.rng.standard_normal(self.n))
            self.track(f"guide_{axis}")[:] += 0.004 * slow / np.std(slow)

    def _breathe(self) -> None:
        person = self.person
        sos = butter(1, 0.05, "lowpass", fs=STEP_HZ, output="sos")
        wander = sosfilt(sos, self.rng.standard_normal(self.n))
        rate = person.breathing_Hz * (1 + 0.06 * wander / np.std(wander))
        phase = 2 * np.pi * np.cumsum(rate) / STEP_HZ + self.rng.uniform(0, 2 * np.pi)
        self.track("belly")[:] = person.breathing_m / BELLY * np.sin(phase)
