"""How far a movement raised the centre of mass from one rest to the next, by what else goes on in a hanging body.

Beside the movement the readings show breathing, the beat of a small swing, the bounce on the arms, noise and an
uncertain level, modelled together as one Gaussian process. The only assumption about the movement is that the body
rests, on average, before and after it. What the process did meanwhile is predicted from the readings on both sides and
from that rest, and subtracted; the variance of the prediction is the uncertainty (C. E. Rasmussen and C. K. I.
Williams, Gaussian Processes for Machine Learning, 2006, equations 2.23 and 2.24, from memory).
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.measures.swing import BAND_Hz as BEAT_BAND_Hz
from monitor.signals.session_loads import Array

MEANS_Hz = 10.0
"""Readings are averaged over a tenth of a second: tremor goes, a movement is still ten of them (common practice, no
source)."""

PAD_S = 0.1
"""How far a movement extends beyond the shape that it was found by: arms and bar yield, and swing back (common
practice, no source)."""

REST_S = 0.3
"""About one bounce of a body on its arms (2 to 5 Hz), over which its ringing averages out."""

FLANK_S = 5.0
"""About one breath to either side: more of them changes nothing (common practice, no source)."""

BREATHING_Hz = (0.2, 1 / 3)
"""12 to 20 breaths a minute, an adult at rest (any textbook of physiology, from memory)."""

BOUNCE_Hz = (2.0, 5.0)
"""Vertical bounce of a body on its arms (common practice, no source)."""

LEVEL_m_s2 = 0.05
"""Uncertainty of the level beforehand: half a per cent of bodyweight (common practice, no source)."""

BREATHING_m_s2, BEAT_m_s2, BOUNCE_m_s2 = 0.003, 0.003, 0.006
"""Root mean square of each part (common practice, no source): breathing by one to two millimetres, a swing of a degree
that is not taken off, a bounce that tremor keeps up. Noise is the readings' own. For the rise only the ratios
count; how much larger all of it is, the readings beside the movement tell."""

Movement = tuple[int, float]
"""The row of a movement's middle, and its duration (s)."""


class Rise(NamedTuple):
    """A rise of the centre of mass and its standard uncertainty (m)."""

    rise_m: float
    u_m: float


def velocity_and_rise(acceleration: Array, rate_Hz: float) -> tuple[Array, Array]:
    """Return velocity (..., n + 1) in m/s and rise (..., n + 1) in m at the rows' ends; both are zero at the beginning.

    Parameters
    ----------
    acceleration : (..., n) float, m/s^2
        Mean over each row's interval: ``S / m - g``, upward positive (Newton II). Velocity is its cumulative sum, the
        rise the trapezoids under the velocity.
    """
    step_s = 1.0 / rate_Hz
    nothing = np.zeros((*acceleration.shape[:-1], 1))
    velocity = np.concatenate([nothing, np.cumsum(acceleration, axis=-1) * step_s], axis=-1)
    between = np.cumsum(velocity[..., 1:] + velocity[..., :-1], axis=-1) * (step_s / 2)
    return velocity, np.concatenate([nothing, between], axis=-1)


def rise_of(
    acceleration: Array, movement: Movement, others: Sequence[Movement], rate_Hz: float, noise: float
) -> Rise | None:
    """Return how far one movement raised the centre of mass; None where there is no rest before or after it.

    Parameters
    ----------
    acceleration : (n,) float, m/s^2
        ``S / m - g`` of an undisturbed stretch, the beat of a measured swing taken off.
    others : sequence of (row, seconds)
        Movements that are no rest beside this one.
    noise : float, m/s^2
        Standard deviation of one reading's white noise.

    Notes
    -----
    ``w`` are the weights of the mean height in the rest after the movement over that in the rest before it, ``c`` those
    of the difference of the mean velocities there, which the movement leaves at nothing. With ``n`` the process,
    ``rise = w y - E[w n | y beside, c y]``; ``u`` is the root of the variance that is left of ``w n``. One factor
    of the whole covariance is found from what is seen by maximum likelihood, ``z K^-1 z`` over the number of values
    ``z``; it is never below one, since the noise was measured and anybody breathes.
    """
    every = max(1, round(rate_Hz / MEANS_Hz))
    step_s = every / rate_Hz
    middle, duration_s = movement
    half, rest = max(1, round((duration_s / 2 + PAD_S) / step_s)), max(1, round(REST_S / step_s))
    if others:
        # Where the next movement begins, the rest ends: first the rest is cut, then the pad.
        room = int(min(abs(row - middle) / rate_Hz - long_s / 2 for row, long_s in others) / step_s)
        half = max(1, round(duration_s / 2 / step_s), min(half, room - 1))
        rest = max(1, min(rest, room - half))
    before, after = middle // every, (len(acceleration) - middle) // every
    rest = min(rest, before - half, after - half)
    if rest < 1:
        return None
    reach = half + rest + round(FLANK_S / step_s)
    before, after = min(reach, before), min(reach, after)
    means = acceleration[middle - before * every : middle + after * every].reshape(-1, every).mean(axis=1)
    place = np.arange(-before, after) + 0.5
    inside = np.abs(place) < half + rest
    beside = ~inside
    for row, long_s in others:
        beside &= np.abs(place * step_s - (row - middle) / rate_Hz) > long_s / 2 + PAD_S + REST_S
    covariance = _covariance(len(means), step_s) + noise**2 / every * np.eye(len(means))
    height, velocity = np.zeros(len(means)), np.zeros(len(means))
    height[inside], velocity[inside] = _weights(2 * (half + rest), rest, step_s)
    # Known of the process: every mean beside the movement, and one contrast of those within it.
    rows = np.flatnonzero(beside)
    with_velocity = covariance @ velocity
    known_covariance = np.empty((len(rows) + 1, len(rows) + 1))
    known_covariance[:-1, :-1] = covariance[np.ix_(rows, rows)]
    known_covariance[-1, :-1] = known_covariance[:-1, -1] = with_velocity[rows]
    known_covariance[-1, -1] = velocity @ with_velocity
    with_height = covariance @ height
    shared = np.append(with_height[rows], velocity @ with_height)
    values = np.append(means[rows], velocity @ means)
    gain, explained = np.linalg.solve(known_covariance, np.column_stack([shared, values])).T
    size = max(1.0, float(explained @ values) / len(values))
    left = height @ with_height - gain @ shared
    return Rise(float(height @ means - gain @ values), float(np.sqrt(size * left)))


@functools.lru_cache(maxsize=64)
def _weights(n: int, rest: int, step_s: float) -> tuple[Array, Array]:
    """Return the weights (n,) of ``w`` and ``c`` (see ``rise_of``) for means of which ``rest`` at each end are a rest.

    ``c`` has norm 1: it is a condition, so its scale is arbitrary.
    """
    velocity, height = velocity_and_rise(np.eye(n), 1.0 / step_s)
    first, last = velocity[:, : rest + 1].mean(axis=1), velocity[:, -rest - 1 :].mean(axis=1)
    risen = height[:, -rest - 1 :].mean(axis=1) - height[:, : rest + 1].mean(axis=1)
    # A constant velocity is no rise.
    risen = risen - 0.5 * (first + last) * (n - rest) * step_s
    change = last - first
    return risen, change / np.sqrt(change @ change)


@functools.lru_cache(maxsize=16)
def _covariance(n: int, step_s: float) -> Array:
    """Return (n, n) the covariance of ``n`` means of the process, ``step_s`` apart, without noise."""
    lag_s = np.asarray(np.arange(n) * step_s, dtype=float)
    row = np.full(n, LEVEL_m_s2**2)
    for size, band_Hz in ((BREATHING_m_s2, BREATHING_Hz), (BEAT_m_s2, BEAT_BAND_Hz), (BOUNCE_m_s2, BOUNCE_Hz)):
        row = row + size**2 * _band(lag_s, *band_Hz)
    return np.asarray(row[np.abs(np.subtract.outer(np.arange(n), np.arange(n)))])


def _band(lag_s: Array, low_Hz: float, high_Hz: float) -> Array:
    """Return the covariance (n,) of a process of variance 1 whose spectrum is even between two frequencies.

    The cosine transform of an even band: ``(sin(2 pi high t) - sin(2 pi low t)) / (2 pi t (high - low))``.
    """
    return np.asarray(
        (high_Hz * np.sinc(2 * high_Hz * lag_s) - low_Hz * np.sinc(2 * low_Hz * lag_s)) / (high_Hz - low_Hz)
    )
