"""Travel: how far the centre of mass rises or sinks when the shoulder blades are drawn down or let go.

Found by the shape of its acceleration (a minimum-jerk movement, T. Flash and N. Hogan, Journal of Neuroscience 5
(1985) 1688-1703, citation from memory), measured by integrating ``S / m - g`` twice between two quiet ends with
velocity zero at both. The detector's own amplitude is never reported: a movement is no textbook curve.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.measures.result import Travel
from monitor.signals import sliding
from monitor.signals.stay import Array
from monitor.signals.summary import median

DURATIONS_s = tuple(float(x) for x in np.geomspace(0.4, 1.7, 10))
LEAST_mm = 8.0
LEAST_SNR = 7.0
LEAST_SHAPE = 0.72
"""Share of the local variance that the movement's shape must explain: a swing or a ringing bar goes on before and
after, a pull stands alone."""

ALONE = 0.5
CALMED = 5
FLANK_S = 3.0
WIDER = 0.15
BREATHING_Hz = 0.25


@dataclass(frozen=True, slots=True)
class _Movement:
    middle: int
    duration_s: float
    size_m: float
    score: float


def minimum_jerk_acceleration(duration_s: float, rate_Hz: float) -> Array:
    """Return (n,) the acceleration (1/s^2) of a minimum-jerk movement of one metre, sampled at the rows' middles.

    ``x = 10 u^3 - 15 u^4 + 6 u^5`` with ``u = t / T``, so ``x'' = (60 u - 180 u^2 + 120 u^3) / T^2``.
    """
    n = max(8, round(duration_s * rate_Hz))
    u = (np.arange(n) + 0.5) / n
    shape = (60 * u - 180 * u**2 + 120 * u**3) / duration_s**2
    return np.asarray(shape - shape.mean())


def gliding_acceleration(duration_s: float, rate_Hz: float) -> Array:
    """Return (n,) the acceleration (1/s^2) of a movement of one metre that speeds up, glides and slows down.

    A third of the time for each, speeding up and slowing down evenly: ``x'' = 9 / (2 T^2)`` and its opposite.
    """
    n = max(8, round(duration_s * rate_Hz))
    u = (np.arange(n) + 0.5) / n
    shape = np.where(u < 1 / 3, 1.0, np.where(u > 2 / 3, -1.0, 0.0)) * 9 / (2 * duration_s**2)
    return np.asarray(shape - shape.mean())


Law = Callable[[float, float], Array]
SHAPES: tuple[Law, ...] = (minimum_jerk_acceleration, gliding_acceleration)
"""People do not move by one law: quick pulls are near minimum jerk, slow ones glide."""


@functools.lru_cache(maxsize=64)
def _calmed_shape(law: Law, duration_s: float, rate_Hz: float, calm: int) -> tuple[Array, float]:
    """Return a movement's shape after a mean over ``calm`` rows, and the sum of its squares."""
    shape = np.convolve(law(duration_s, rate_Hz), np.full(calm, 1.0 / calm))
    return shape, float(shape @ shape)


def velocity_and_rise(acceleration: Array, rate_Hz: float) -> tuple[Array, Array]:
    """Return velocity (n + 1,) in m/s and rise (n + 1,) in m at the rows' ends; both are zero at the beginning.

    Parameters
    ----------
    acceleration : (n,) float, m/s^2
        Mean over each row's interval: ``S / m - g``, upward positive (Newton II). Velocity is its cumulative sum, the
        rise the trapezoids under the velocity.
    """
    step_s = 1.0 / rate_Hz
    velocity = np.concatenate([[0.0], np.cumsum(acceleration) * step_s])
    rise = np.concatenate([[0.0], np.cumsum(velocity[1:] + velocity[:-1]) * (step_s / 2)])
    return velocity, rise


def travels(
    t_s: Array, sum_N: Array, bodyweight_N: float, gravity_m_s2: float, rate_Hz: float, beat_Hz: float | None
) -> list[Travel]:
    """Return the travels in an undisturbed stretch of a hold, in order of time.

    Parameters
    ----------
    t_s, sum_N : (n,) float
        Time (s) and S (N) of a stretch without regrips, touches and third support.
    beat_Hz : float or None
        Second harmonic of a swing that was found; it is modelled beside the movement.
    """
    if len(t_s) < 3 * rate_Hz:
        return []
    acceleration = (sum_N / bodyweight_N - 1.0) * gravity_m_s2
    acceleration = acceleration - median(acceleration)
    found = _movements(acceleration, rate_Hz)
    measured = [_measure(t_s, acceleration, m, found, rate_Hz, beat_Hz) for m in found]
    return [m for m in measured if m is not None and abs(m.travel_mm) >= max(LEAST_mm, 2 * m.u_mm)]


def _movements(acceleration: Array, rate_Hz: float) -> list[_Movement]:
    """Return the movements that stand alone, the best of those that overlap."""
    candidates: list[_Movement] = []
    for duration_s in DURATIONS_s:
        # Tremor and the bounce on the arms are quicker than the movement: a mean over a fifth of it calms them.
        calm = max(1, round(duration_s * rate_Hz / CALMED))
        calmed = sliding.mean(acceleration, calm)
        noise: float | None = None
        squares = np.concatenate([[0.0], np.cumsum(calmed**2)])
        for law in SHAPES:
            shape, norm = _calmed_shape(law, duration_s, rate_Hz, calm)
            n, pad = len(shape), int(ALONE * duration_s * rate_Hz)
            wide = n + 2 * pad
            if wide >= len(calmed):
                continue
            size = np.correlate(calmed, shape, "valid")[pad : len(calmed) - n - pad + 1] / norm
            large = np.flatnonzero(np.abs(size) * 1e3 > 0.7 * LEAST_mm)
            if not len(large):
                continue
            noise = noise or _noise(calmed) * np.sqrt(calm)
            size = size[large]
            explained = size**2 * norm / np.maximum(squares[large + wide] - squares[large], 1e-12)
            snr = np.abs(size) * np.sqrt(norm) / noise
            candidates += [
                _Movement(int(large[i]) + pad + n // 2, duration_s, float(size[i]), float(explained[i] * snr[i]))
                for i in np.flatnonzero((explained > LEAST_SHAPE) & (snr > LEAST_SNR)).tolist()
            ]
    chosen: list[_Movement] = []
    for candidate in sorted(candidates, key=lambda m: -m.score):
        apart = [
            abs(candidate.middle - c.middle) > 0.5 * rate_Hz * (candidate.duration_s + c.duration_s) for c in chosen
        ]
        if all(apart):
            chosen.append(candidate)
    return sorted(chosen, key=lambda m: m.middle)


def _noise(acceleration: Array) -> float:
    """Return the standard deviation of what is no movement, from the median absolute deviation."""
    return max(1e-4, 1.4826 * median(np.abs(acceleration - median(acceleration))))


def _measure(
    t_s: Array, acceleration: Array, movement: _Movement, others: list[_Movement], rate_Hz: float, beat_Hz: float | None
) -> Travel | None:
    """Integrate one movement twice; background lines are fitted on its flanks and taken off first."""
    half = int(rate_Hz * movement.duration_s * (0.5 + WIDER))
    a, b = movement.middle - half, movement.middle + half
    if a < 1 or b >= len(t_s) - 1:
        return None
    flank = int(FLANK_S * rate_Hz)
    low, high = max(0, a - flank), min(len(t_s), b + flank)
    index = np.arange(low, high)
    free = (index < a) | (index >= b)
    for other in others:
        if other is not movement:
            reach = rate_Hz * other.duration_s * (0.5 + WIDER)
            free &= np.abs(index - other.middle) > reach
    part = acceleration[low:high] - _background(t_s[low:high], acceleration[low:high], free, beat_Hz)
    inside = part[a - low : b - low]
    scatter = float(np.std(part[free])) if free.sum() > 8 else _noise(acceleration)
    step_s = 1.0 / rate_Hz
    # Velocity is zero at both ends: the mean acceleration between them is none.
    travel_m = float(velocity_and_rise(inside - inside.mean(), rate_Hz)[1][-1])
    # White noise of standard deviation s, integrated twice over T with the mean taken off: u = s dt^0.5 T^1.5 / 12^0.5
    length_s = (b - a) * step_s
    u_m = scatter * np.sqrt(step_s * length_s**3 / 12.0) * 2.0
    return Travel(
        start_s=float(t_s[movement.middle] - movement.duration_s / 2),
        end_s=float(t_s[movement.middle] + movement.duration_s / 2),
        travel_mm=1e3 * travel_m,
        u_mm=1e3 * float(u_m),
    )


def _background(t_s: Array, acceleration: Array, free: np.ndarray, beat_Hz: float | None) -> Array:
    """Return breathing, the swing's beat and the level, fitted on the free rows and continued through the movement."""
    if free.sum() < 0.3 * len(t_s):
        return np.zeros_like(acceleration)
    lines = [BREATHING_Hz] + ([beat_Hz] if beat_Hz else [])
    phases = [2 * np.pi * f * (t_s - t_s.mean()) for f in lines]
    design = np.column_stack(
        [np.ones_like(t_s), *itertools.chain.from_iterable((np.cos(p), np.sin(p)) for p in phases)]
    )
    solution, *_ = np.linalg.lstsq(design[free], acceleration[free], rcond=None)
    return np.asarray(design @ solution)
