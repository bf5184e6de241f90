"""Travel: how far the centre of mass rises or sinks when the shoulder blades are drawn down or let go.

Found by the shape of its acceleration (a minimum-jerk movement, T. Flash and N. Hogan, Journal of Neuroscience 5
(1985) 1688-1703, from memory), measured between the rests beside it (``monitor.measures.centre_of_mass_rise``). The
detector's own amplitude is never reported: a movement is no textbook curve.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from monitor.measures.centre_of_mass_rise import Movement, rise_of
from monitor.records.hold_result import Travel
from monitor.signals import sliding
from monitor.signals.iir_filters import band_pass, zero_phase
from monitor.signals.session_loads import Array
from monitor.statistics import median, robust_sd

DURATIONS_s = tuple(float(x) for x in np.geomspace(0.4, 1.7, 10))
LEAST_mm = 8.0
LEAST_SNR = 7.0
"""Movements of 0.4 to 1.7 s are looked for, of 8 mm at least, seven times their noise (common practice, no
source)."""

LEAST_SHAPE = 0.72
"""Share of the local variance that the movement's shape must explain: a swing or a ringing bar continues before and
after, a pull is isolated (common practice, no source)."""

LEAST_m = 0.7e-3 * LEAST_mm
"""Movements deviate from the shape, so the fitted amplitude may be smaller than the travel (common practice, no
source)."""

LEAST_NOISE_m_s2 = 1e-4
"""Only an invented record has less noise; prevents a division by 0 (common practice, no source)."""

LESS = 0.999
"""A bound is compared with a little less than its limit, since it is rounded."""

ALONE = 0.5
"""A movement stands alone within so many of its durations before and after it (common practice, no source)."""

RESTLESS, RESTLESS_BAND_Hz, RESTLESS_EDGE_S = 0.02, (1.8, 6.0), 0.5
"""A hold whose S has a larger rms in this band, as a share of bodyweight, hides travels (common practice, no source);
half a second at either end is the filter's own."""

CALMED = 5
"""Readings are averaged over this part of a movement's duration (common practice, no source)."""


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


def is_restless(sum_N: Array, bodyweight_N: float, rate_Hz: float) -> bool:
    """Say whether S (n,) moves too much between 2 and 6 Hz for a travel to be read surely.

    A bar that gives (a door bar bounces at some 4 Hz) and a body that never rests shake S as a quick pull does.
    """
    edge = round(RESTLESS_EDGE_S * rate_Hz)
    if len(sum_N) < 4 * edge:
        return False
    shaken_N = zero_phase(band_pass(2, RESTLESS_BAND_Hz, rate_Hz), sum_N)[edge:-edge]
    return float(np.sqrt(np.mean(shaken_N**2))) > RESTLESS * bodyweight_N


def travels(t_s: Array, sum_N: Array, bodyweight_N: float, gravity_m_s2: float, rate_Hz: float) -> list[Travel]:
    """Return the travels in an undisturbed stretch of a hold, in order of time.

    Parameters
    ----------
    t_s, sum_N : (n,) float
        Time (s) and S (N) of a stretch without regrips, touches and third support; the beat of a swing that was found
        is taken off.
    """
    if len(t_s) < 3 * rate_Hz:
        return []
    acceleration = (sum_N / bodyweight_N - 1.0) * gravity_m_s2
    acceleration = acceleration - median(acceleration)
    movements = _movements(acceleration, rate_Hz)
    noise = float(np.sqrt(0.5)) * _noise(np.diff(acceleration))
    results: list[Travel] = []
    for middle, duration_s in movements:
        others = [other for other in movements if other[0] != middle]
        rise = rise_of(acceleration, (middle, duration_s), others, rate_Hz, noise)
        if rise is None or abs(rise.rise_m) < max(1e-3 * LEAST_mm, 2 * rise.u_m):
            continue
        at_s = float(t_s[middle])
        results.append(Travel(at_s - duration_s / 2, at_s + duration_s / 2, 1e3 * rise.rise_m, 1e3 * rise.u_m))
    return results


def _movements(acceleration: Array, rate_Hz: float) -> list[Movement]:
    """Return the movements that stand alone, the best of those that overlap."""
    candidates: list[Array] = []
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
            energy = squares[pad + n : len(squares) - pad] - squares[pad : len(squares) - n - pad]
            energy_around = np.maximum(squares[wide:] - squares[:-wide], 1e-12)
            # What a shape explains is at most the energy of the rows that it covers (A. L. Cauchy): only where that is
            # most of the energy around, and enough for the least travel, is there anything to compare.
            worth = (energy > LESS * LEAST_SHAPE * energy_around) & (energy > LESS * norm * LEAST_m**2)
            large = np.flatnonzero(worth)
            if not len(large):
                continue
            noise = noise or _noise(calmed) * np.sqrt(calm)
            size = _correlations(calmed, shape, large + pad) / norm
            explained = size**2 * norm / energy_around[large]
            snr = np.abs(size) * np.sqrt(norm) / noise
            good = (np.abs(size) > LEAST_m) & (explained > LEAST_SHAPE) & (snr > LEAST_SNR)
            middle = large[good] + pad + n // 2
            candidates.append(np.array([middle, np.full(len(middle), duration_s), explained[good] * snr[good]]))
    if not candidates:
        return []
    rows, seconds, score = np.concatenate(candidates, axis=1)
    chosen: list[Movement] = []
    while len(rows):
        best = int(np.argmax(score))
        chosen.append((int(rows[best]), float(seconds[best])))
        apart = np.abs(rows - rows[best]) > 0.5 * rate_Hz * (seconds + seconds[best])
        rows, seconds, score = rows[apart], seconds[apart], score[apart]
    return sorted(chosen)


def _correlations(values: Array, shape: Array, starts: NDArray[np.intp]) -> Array:
    """Return (k,) the sums of products of a shape and the values from each start (k,) on, starts in order."""
    pieces = np.split(starts, np.flatnonzero(np.diff(starts) > len(shape)) + 1)
    return np.concatenate(
        [np.correlate(values[some[0] : some[-1] + len(shape)], shape, "valid")[some - some[0]] for some in pieces]
    )


def _noise(acceleration: Array) -> float:
    """Return the standard deviation of what is no movement, from the median absolute deviation."""
    return max(LEAST_NOISE_m_s2, robust_sd(acceleration))
