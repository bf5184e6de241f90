"""Smooth motions as functions of time: minimum-jerk moves, restless sums of sinusoids, breathing."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def minimum_jerk(s: Array) -> Array:
    """Return the smoothest way from 0 to 1, 10 s^3 - 15 s^4 + 6 s^5, for s within 0 .. 1 (clipped outside).

    Source: Flash and Hogan 1985 (the formula from memory); it is the quintic with zero velocity and
    acceleration at both ends.
    """
    s = np.clip(s, 0.0, 1.0)
    return np.asarray(s * s * s * (10.0 + s * (6.0 * s - 15.0)))


def minimum_jerk_acceleration(s: Array) -> Array:
    """Return the second derivative of ``minimum_jerk`` by s; 0 outside 0 .. 1."""
    s = np.clip(s, 0.0, 1.0)
    return np.asarray(60.0 * s * (1.0 - s) * (1.0 - 2.0 * s))


@dataclass(frozen=True, slots=True)
class Move:
    """A change by ``delta`` from ``start_s`` on within ``duration_s``."""

    start_s: float
    duration_s: float
    delta: float


@dataclass(slots=True)
class Track:
    """A quantity over time: a first value, then minimum-jerk moves that may overlap."""

    first: float = 0.0
    moves: list[Move] = field(default_factory=list)

    @property
    def final(self) -> float:
        """Value after all moves so far."""
        return self.first + sum(move.delta for move in self.moves)

    def to(self, value: float, start_s: float, duration_s: float) -> None:
        """Go to a value; the move before must have been planned earlier than this one."""
        self.by(value - self.final, start_s, duration_s)

    def by(self, delta: float, start_s: float, duration_s: float) -> None:
        """Change by an amount."""
        if delta:
            self.moves.append(Move(start_s, duration_s, delta))

    def value(self, t_s: Array) -> Array:
        """Return the value at ascending times (n,)."""
        out = np.full(len(t_s), self.first)
        for move in self.moves:
            if move.start_s + move.duration_s <= t_s[0]:
                out += move.delta
            elif move.start_s < t_s[-1]:
                out += move.delta * minimum_jerk((t_s - move.start_s) / move.duration_s)
        return out

    def acceleration(self, t_s: Array) -> Array:
        """Return the second time derivative at ascending times (n,)."""
        out = np.zeros(len(t_s))
        for move in self.moves:
            if move.start_s < t_s[-1] and move.start_s + move.duration_s > t_s[0]:
                s = (t_s - move.start_s) / move.duration_s
                out += move.delta / move.duration_s**2 * minimum_jerk_acceleration(s)
        return out


class Restless:
    """Stationary noise within a band, of rms 1: a sum of sinusoids of random frequency and phase.

    A function of time alone, so it needs no state and cannot depend on how time is cut.

    Parameters
    ----------
    rng : numpy Generator
    low_Hz, high_Hz : float
        Band; with ``slope`` 0 evenly filled.
    tones : int
    slope : float
        Amplitudes fall as frequency to this power: 1 for the slow wandering of posture.
    """

    def __init__(
        self, rng: np.random.Generator, low_Hz: float, high_Hz: float, *, tones: int = 14, slope: float = 0.0
    ) -> None:
        grid = np.linspace(low_Hz, high_Hz, tones + 1) if not slope else np.geomspace(low_Hz, high_Hz, tones + 1)
        frequency = grid[:-1] + rng.random(tones) * np.diff(grid)
        amplitude = frequency**-slope * np.sqrt(np.diff(grid))
        self._omega = 2 * math.pi * frequency
        self._phase = rng.random(tones) * 2 * math.pi
        self._amplitude = amplitude * math.sqrt(2 / np.sum(amplitude**2))

    def value(self, t_s: Array) -> Array:
        """Return the noise at times (n,), rms 1 over a long stretch."""
        return np.asarray(self._amplitude @ np.sin(np.multiply.outer(self._omega, t_s) + self._phase[:, None]))


class Breathing:
    """Rise and fall of the centre of mass in breathing, its pace wandering a little.

    Parameters
    ----------
    frequency_Hz, amplitude_m, phase : float
        The adult resting range is 12 to 20 breaths a minute (general references).
    """

    _WANDER_HZ = 0.031
    _WANDER_RAD = 0.7

    def __init__(self, frequency_Hz: float, amplitude_m: float, phase: float) -> None:
        self._frequency_Hz = frequency_Hz
        self._amplitude_m = amplitude_m
        self._phase = phase

    def acceleration(self, t_s: Array) -> Array:
        """Return the second derivative of amplitude x sin(phase(t)) at times (n,), m/s^2."""
        wander = 2 * math.pi * self._WANDER_HZ
        slow = wander * t_s + self._phase
        phase = 2 * math.pi * self._frequency_Hz * t_s + self._WANDER_RAD * np.sin(slow)
        rate = 2 * math.pi * self._frequency_Hz + self._WANDER_RAD * wander * np.cos(slow)
        bend = -self._WANDER_RAD * wander**2 * np.sin(slow)
        return np.asarray(self._amplitude_m * (bend * np.cos(phase) - rate**2 * np.sin(phase)))
