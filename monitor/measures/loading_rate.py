"""How fast the bar is loaded: the steepest rise of its load over 50 ms about the onset.

A reading is the mean over its sample interval, so four of them at 80 per second blur a rise that lasts three. Two
models recover the load itself: where it rises smoothly, a polynomial whose means over seven intervals are the readings;
where a jump is caught, a load that is 0 until the hands close. That instant lies between readings, so every possible
one is weighted by how well it explains them.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from monitor.signals.corner import corner_of, fine_steps
from monitor.signals.session_loads import Array

LOADING_RATE_WINDOW_S = 0.05
"""The rise is taken over this time (a usual window for rates of force; common practice, no source)."""

FROM_S, TO_S, LEAST_AFTER_S = -0.2, 0.5, 0.2
"""The steepest rise is looked for from 0.2 s before the onset to 0.5 s after it, of which 0.2 s must be there
(common practice, no source)."""

LADDER = ((7, 6), (7, 3))
"""Readings and degree of the polynomials, the roughest first. The calmest that explains the readings is taken
(common practice, no source)."""

EDGE = 3
"""Readings beyond each end that the widest polynomial needs: half of seven."""

ALLOWED = 1.25
"""A smoother polynomial may deviate from the roughest by so many times what noise makes them (common practice, no
source)."""

UNLOADED_N, UNLOADED_NOISES = 3.0, 6.0
"""A bar that reads less than this, or than so many times its noise, carries nobody (common practice, no source)."""

EMPTY_ROWS = 3
"""The bar is empty if so many readings before say so (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Rise:
    """A rate of loading and its standard uncertainty, N/s."""

    rate_N_s: float
    u_N_s: float


def loading_rate_rise(t_s: Array, load_N: Array, onset_s: float, rate_Hz: float, noise_N: float) -> Rise | None:
    """Return the steepest rise over 50 ms from 0.2 s before the onset to 0.5 s after it.

    Parameters
    ----------
    t_s, load_N : (n,) float
        Readings, each the mean over its interval, at the interval's middle.
    noise_N : float
        Standard deviation of a reading's white noise.

    Returns
    -------
    Rise or None
        None where the record does not reach from 0.05 s before to 0.2 s after the onset, or where fewer than three
        readings fall into 50 ms.
    """
    if LOADING_RATE_WINDOW_S * rate_Hz < 3.0:
        return None
    half_s = 0.5 / rate_Hz
    begin, end = np.searchsorted(t_s, (onset_s + FROM_S - half_s, onset_s + TO_S + half_s)).tolist()
    low, high = max(EDGE, begin), min(len(t_s) - EDGE, end)
    if low >= high or t_s[low] > onset_s - LOADING_RATE_WINDOW_S or t_s[high - 1] < onset_s + LEAST_AFTER_S:
        return None
    near_N = load_N[low - EDGE : high + EDGE]
    fine = fine_steps(rate_Hz)
    # In rows from the beginning of the first reading's interval: the window begins and ends within intervals.
    window = (np.array([FROM_S, TO_S]) + onset_s - float(t_s[low]) + half_s) * rate_Hz
    smooth = _smoothly(near_N, fine, rate_Hz, noise_N, window)
    foot = _foot(near_N, noise_N)
    if foot is None or abs(smooth.start_rows + EDGE - foot) > 1.5:
        return smooth.rise
    return _caught(near_N[foot:], rate_Hz) or smooth.rise


@dataclass(frozen=True, slots=True)
class _Smooth:
    """The steepest rise of a smooth load, and where it starts, in rows."""

    rise: Rise
    start_rows: float


def _smoothly(near_N: Array, fine: int, rate_Hz: float, noise_N: float, window: Array) -> _Smooth:
    """Return the steepest rise within a window (rows) of polynomials through the readings (n + 6,)."""
    length = LOADING_RATE_WINDOW_S * rate_Hz
    chosen = rough_N = _load(near_N, *LADDER[0], fine)
    rows = (np.arange(len(rough_N)) + 0.5) / fine
    starts = np.flatnonzero((rows >= window[0]) & (rows <= min(rows[-1], window[1]) - length))
    start = rows[starts]

    def rises(load_N: Array) -> Array:
        return np.asarray(np.interp(start + length, rows, load_N) - load_N[starts])

    best = int(np.argmax(rises(rough_N)))
    at = int(starts[best])
    about = slice(max(0, at - fine), at + math.ceil(length * fine) + fine)
    left_N = abs(float(rises(rough_N)[best] - rises(_load(near_N, *LADDER[1], fine))[best])) / 2
    gain = _noise_gain(*LADDER[0], fine, round(length))
    for across, degree in LADDER[1:]:
        calm_N = _load(near_N, across, degree, fine)
        off_N = float(np.sqrt(np.mean((rough_N[about] - calm_N[about]) ** 2)))
        if off_N > ALLOWED * noise_N * _noise_apart(LADDER[0], (across, degree), fine):
            break
        chosen, left_N, gain = calm_N, off_N / 2, _noise_gain(across, degree, fine, round(length))
    rise = rises(chosen)
    best = int(np.argmax(rise))
    u_N = math.hypot(gain * noise_N, left_N)
    return _Smooth(Rise(float(rise[best]) / LOADING_RATE_WINDOW_S, u_N / LOADING_RATE_WINDOW_S), float(start[best]))


def _load(near_N: Array, across: int, degree: int, fine: int) -> Array:
    """Return the load at ``fine`` places within each reading's interval but the outer ``EDGE``."""
    off = EDGE - across // 2
    every = np.lib.stride_tricks.sliding_window_view(near_N[off : len(near_N) - off], across)
    return np.asarray((every @ _weights(across, degree, fine).T).ravel())


@functools.lru_cache(maxsize=16)
def _weights(across: int, degree: int, fine: int) -> Array:
    """Return (fine, across) what each of some readings adds to the load at places within the middle one's interval.

    A polynomial of this degree whose means over the intervals are the readings (in the least squares' sense).
    """
    powers = np.arange(degree + 1)
    edges = np.arange(across + 1) - 0.5 * across
    integrals = edges[:, None] ** (powers + 1) / (powers + 1)
    places = (np.arange(fine) + 0.5) / fine - 0.5
    return np.asarray(places[:, None] ** powers @ np.linalg.pinv(np.diff(integrals, axis=0)))


@functools.lru_cache(maxsize=16)
def _noise_gain(across: int, degree: int, fine: int, apart: int) -> float:
    """Return the noise of a rise over some rows as a multiple of that of a reading: the two ends share readings."""
    weights = _weights(across, degree, fine)
    both = np.zeros((fine, across + apart))
    both[:, apart:] += weights
    both[:, :across] -= weights
    return float(np.sqrt((both**2).sum(axis=1)).max())


@functools.lru_cache(maxsize=16)
def _noise_apart(rough: tuple[int, int], calm: tuple[int, int], fine: int) -> float:
    """Return how far noise moves two polynomials apart (rms), as a multiple of that of a reading."""
    off = (calm[0] - rough[0]) // 2
    apart = _weights(*calm, fine) - np.pad(_weights(*rough, fine), ((0, 0), (off, off)))
    return float(np.sqrt((apart**2).sum(axis=1).mean()))


def _foot(near_N: Array, noise_N: float) -> int | None:
    """Return the first reading of the last load that comes onto an empty bar; None if none does."""
    empty = near_N < max(UNLOADED_N, UNLOADED_NOISES * noise_N)
    loaded = np.flatnonzero(~empty[1:] & empty[:-1]) + 1
    for foot in loaded[::-1].tolist():
        if foot >= EMPTY_ROWS and empty[foot - EMPTY_ROWS : foot].all():
            return int(foot)
    return None


def _caught(after_N: Array, rate_Hz: float) -> Rise | None:
    """Return the steepest rise of a load that was 0 until some instant near the first of the readings (n,)."""
    corner = corner_of(after_N, rate_Hz)
    if corner is None:
        return None
    course_N = corner.course_N
    rows = round(LOADING_RATE_WINDOW_S * rate_Hz * fine_steps(rate_Hz))
    rises = np.maximum((course_N[:, rows:] - course_N[:, :-rows]).max(axis=1), course_N[:, rows - 1])
    rise_N = float(corner.share @ rises)
    variance_N2 = float(corner.share @ (corner.left[:, rows - 1] + (rises - rise_N) ** 2))
    return Rise(rise_N / LOADING_RATE_WINDOW_S, math.sqrt(variance_N2) / LOADING_RATE_WINDOW_S)
