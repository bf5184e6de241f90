"""Recursive (IIR) filters in second-order sections: Butterworth designs, streaming and zero-phase filtering.

``scipy.signal`` has all of it, but costs 49 MB to import (decision 18); the loop over samples is SciPy's own.

Sections are rows of b0, b1, b2, a0, a1, a2 with a0 = 1. Designs are the bilinear transform of the Butterworth poles
with prewarped corner frequencies (S. Butterworth, Experimental Wireless 7 (1930) 536-541; A. V. Oppenheim and
R. W. Schafer, Discrete-Time Signal Processing, chapter 7; both from memory).
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from monitor.signals.scipy_loops import sosfilt_loop
from monitor.signals.session_loads import Array

PADDED_TAPS = 3
"""Zero-phase filtering extends a signal at both ends by this many times the filter's taps (the default of SciPy)."""


def _poles(order: int) -> NDArray[np.complex128]:
    """Return (order / 2,) the upper poles of the analogue low-pass of one radian per second."""
    if order < 2 or order % 2:
        raise ValueError(f"The order must be even and at least 2, not {order}.")
    return np.asarray(np.exp(0.5j * np.pi * (1 + (2 * np.arange(order // 2) + 1) / order)))


def _warped(corner_Hz: float, rate_Hz: float) -> float:
    if not 0.0 < corner_Hz < rate_Hz / 2:
        raise ValueError(f"The corner must lie between 0 and {rate_Hz / 2} Hz, not at {corner_Hz} Hz.")
    return float(np.tan(np.pi * corner_Hz / rate_Hz))


def _sections(zeros: tuple[float, float, float], poles: NDArray[np.complex128], at: complex) -> Array:
    """Return (s, 6) sections with the same zeros, one for each pole and its conjugate, each of gain 1 at z = ``at``."""
    z_poles = (1 + poles) / (1 - poles)
    sections = np.zeros((len(poles), 6))
    sections[:, 3] = 1.0
    sections[:, 4] = -2 * z_poles.real
    sections[:, 5] = np.abs(z_poles) ** 2
    powers = np.array([1.0, 1 / at, 1 / at**2])
    gains = np.abs(sections[:, 3:] @ powers) / np.abs(np.array(zeros) @ powers)
    sections[:, :3] = gains[:, None] * np.array(zeros)
    return sections


@functools.lru_cache(maxsize=32)
def low_pass(order: int, corner_Hz: float, rate_Hz: float) -> Array:
    """Return the sections (order / 2, 6) of a Butterworth low-pass of even order, read-only.

    Its gain is 1 at 0 Hz and 1 / sqrt(2) at ``corner_Hz``.
    """
    sections = _sections((1.0, 2.0, 1.0), _warped(corner_Hz, rate_Hz) * _poles(order), 1.0)
    sections.flags.writeable = False
    return sections


@functools.lru_cache(maxsize=32)
def band_pass(order: int, band_Hz: tuple[float, float], rate_Hz: float) -> Array:
    """Return the sections (order, 6) of a Butterworth band-pass; ``order`` is that of each flank, even.

    Its gain is 1 / sqrt(2) at both ends of the band. Read-only.
    """
    low, high = (_warped(corner_Hz, rate_Hz) for corner_Hz in band_Hz)
    half = 0.5 * (high - low) * _poles(order)
    root = np.sqrt(half**2 - low * high)
    poles = np.concatenate([half + root, half - root])
    middle = np.sqrt(low * high)
    sections = _sections((1.0, 0.0, -1.0), poles, complex((1 + 1j * middle) / (1 - 1j * middle)))
    sections.flags.writeable = False
    return sections


def steady_state(sections: Array) -> Array:
    """Return the state (s, 2) of a filter whose input has been 1 for ever."""
    gains = sections[:, :3].sum(axis=1) / sections[:, 3:].sum(axis=1)
    inputs = np.concatenate([[1.0], np.cumprod(gains)[:-1]])
    first = gains - sections[:, 0]
    second = sections[:, 2] - sections[:, 5] * gains
    return np.asarray(inputs[:, None] * np.stack([first, second], axis=1))


class StreamingFilter:
    """A causal filter over the columns of blocks (n, columns) with carried state: block edges cannot show.

    The state starts from the first row, and from ``restart`` on anew.

    Parameters
    ----------
    sections : (s, 6) float
        As of ``low_pass``.
    """

    def __init__(self, sections: Array) -> None:
        self._loop = sosfilt_loop()
        self._sections = np.array(sections, order="C")  # the loop refuses a read-only array
        self._steady = steady_state(sections)
        self._states = np.empty((0, len(sections), 2))

    def restart(self) -> None:
        """Start anew from the next row: a gap lies before it."""
        self._states = np.empty((0, len(self._sections), 2))

    def push(self, rows: Array) -> Array:
        """Return the filtered rows, same shape; NaN must have been filled before."""
        if not len(rows):
            return rows
        if not len(self._states):
            self._states = rows[0][:, None, None] * self._steady
        signals = np.array(rows.T, dtype=np.float64, order="C")
        self._loop(self._sections, signals, self._states)
        return signals.T


def zero_phase(sections: Array, signal: Array) -> Array:
    """Return a signal (n,) filtered forward and backward: no delay, the gain squared.

    Both ends are extended by point reflection, so that the filter has settled before the signal begins.

    Raises
    ------
    ValueError
        The signal is not longer than its extension.
    """
    taps = 2 * len(sections) + 1 - min(np.sum(sections[:, 2] == 0), np.sum(sections[:, 5] == 0))
    edge = PADDED_TAPS * int(taps)
    if len(signal) <= edge:
        raise ValueError(f"More than {edge} samples are needed, not {len(signal)}.")
    before = 2 * signal[0] - signal[edge:0:-1]
    after = 2 * signal[-1] - signal[-2 : -edge - 2 : -1]
    extended = np.concatenate([before, signal, after])
    loop, writable, steady = sosfilt_loop(), np.array(sections, order="C"), steady_state(sections)
    for _ in range(2):
        line = np.ascontiguousarray(extended[None])
        loop(writable, line, extended[0] * steady[None])
        extended = line[0, ::-1]
    return np.asarray(extended[edge:-edge])


def frequency_response(sections: Array, frequency_Hz: Array, rate_Hz: float) -> NDArray[np.complex128]:
    """Return the complex gain (n,) at frequencies (n,) in Hz."""
    z = np.exp(-2j * np.pi * frequency_Hz / rate_Hz)
    powers = np.stack([np.ones_like(z), z, z**2])
    return np.asarray(np.prod((sections[:, :3] @ powers) / (sections[:, 3:] @ powers), axis=0))
