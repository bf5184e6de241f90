"""Recursive filters in second-order sections: Butterworth designs, forward in pieces, and both ways.

The loop over samples is SciPy's compiled one, loaded by itself: the package around it imports all of SciPy's
statistics, which costs a small board seconds and 75 MB. A SciPy that keeps it elsewhere, or in which it answers
otherwise, is asked through its front door.

Sections are rows of b0, b1, b2, a0, a1, a2 with a0 = 1. Designs are the bilinear transform of the Butterworth poles
with the corners' frequencies warped beforehand (S. Butterworth, Experimental Wireless 7 (1930) 536-541; A. V.
Oppenheim and R. W. Schafer, Discrete-Time Signal Processing, chapter 7; both from memory).
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from monitor.signals.compiled import compiled_module
from monitor.signals.session_loads import Array

Core = Callable[[Array, Array, Array], object]
"""(sections (s, 6), signals (k, n), states (k, s, 2)): filters signals and states in place; all in C order."""

PADDED_TAPS = 3
"""Both ways, a signal is continued at its ends by this many times the filter's taps."""


def _plain_core() -> Core | None:
    """Return SciPy's compiled loop without the package around it; None where it is not found or not as it was."""
    core: Core | None = getattr(compiled_module("signal", "_sosfilt"), "_sosfilt", None)
    try:
        return core if core is not None and _answers(core) else None
    except (TypeError, ValueError):
        return None


def _answers(core: Core) -> bool:
    """Say whether a loop filters as told: two samples through y[n] = x[n] + y[n-1] / 2, worked out by hand."""
    signals, states = np.array([[1.0, 0.0]]), np.zeros((1, 1, 2))
    core(np.array([[1.0, 0.0, 0.0, 1.0, -0.5, 0.0]]), signals, states)
    return signals.tolist() == [[1.0, 0.5]] and states.tolist() == [[[0.25, 0.0]]]


def front_door_core(sections: Array, signals: Array, states: Array) -> None:
    """Do what the compiled loop does, through ``scipy.signal.sosfilt``."""
    from scipy.signal import sosfilt

    signals[...], left = sosfilt(sections, signals, axis=1, zi=states.swapaxes(0, 1))
    states[...] = left.swapaxes(0, 1)


@functools.cache
def core() -> Core:
    """Return the loop over samples."""
    return _plain_core() or front_door_core


def _poles(order: int) -> NDArray[np.complex128]:
    """Return (order / 2,) the upper poles of the analogue low-pass of one radian per second."""
    if order < 2 or order % 2:
        raise ValueError(f"An even order of 2 or more is wanted, not {order}.")
    return np.asarray(np.exp(0.5j * np.pi * (1 + (2 * np.arange(order // 2) + 1) / order)))


def _warped(corner_Hz: float, rate_Hz: float) -> float:
    if not 0.0 < corner_Hz < rate_Hz / 2:
        raise ValueError(f"A corner between 0 and {rate_Hz / 2} Hz is wanted, not {corner_Hz} Hz.")
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
    """Return the sections (order / 2, 6) of a Butterworth low-pass of even order; not to be written to.

    Its gain is 1 at rest and 1 / sqrt(2) at ``corner_Hz``.
    """
    sections = _sections((1.0, 2.0, 1.0), _warped(corner_Hz, rate_Hz) * _poles(order), 1.0)
    sections.flags.writeable = False
    return sections


@functools.lru_cache(maxsize=32)
def band_pass(order: int, band_Hz: tuple[float, float], rate_Hz: float) -> Array:
    """Return the sections (order, 6) of a Butterworth band-pass; ``order`` is that of each flank, even.

    Its gain is 1 / sqrt(2) at both ends of the band. Not to be written to.
    """
    low, high = (_warped(corner_Hz, rate_Hz) for corner_Hz in band_Hz)
    half = 0.5 * (high - low) * _poles(order)
    root = np.sqrt(half**2 - low * high)
    poles = np.concatenate([half + root, half - root])
    middle = np.sqrt(low * high)
    sections = _sections((1.0, 0.0, -1.0), poles, complex((1 + 1j * middle) / (1 - 1j * middle)))
    sections.flags.writeable = False
    return sections


def rest_state(sections: Array) -> Array:
    """Return the state (s, 2) of a filter that has been fed ones for ever."""
    gains = sections[:, :3].sum(axis=1) / sections[:, 3:].sum(axis=1)
    fed = np.concatenate([[1.0], np.cumprod(gains)[:-1]])
    first = gains - sections[:, 0]
    second = sections[:, 2] - sections[:, 5] * gains
    return np.asarray(fed[:, None] * np.stack([first, second], axis=1))


class Running:
    """A filter over the columns of blocks, its state carried from one to the next.

    Parameters
    ----------
    sections : (s, 6) float
        As of ``low_pass``.
    """

    def __init__(self, sections: Array) -> None:
        self._core = core()
        self._sections = np.array(sections, order="C")  # the loop asks for an array that it might write to
        self._rest = rest_state(sections)
        self._states = np.empty((0, len(sections), 2))

    def start(self, row: Array) -> None:
        """Settle on a row (columns,), as if it had been read for ever."""
        self._states = row[:, None, None] * self._rest

    def push(self, rows: Array) -> Array:
        """Return the filtered rows (n, columns); settles on the first of all rows."""
        if not len(rows):
            return rows
        if not len(self._states):
            self.start(rows[0])
        signals = np.array(rows.T, dtype=np.float64, order="C")
        self._core(self._sections, signals, self._states)
        return signals.T


def both_ways(sections: Array, signal: Array) -> Array:
    """Return a signal (n,) filtered forward and backward: no delay, the gain squared.

    It is continued at both ends by its point reflection, so that the filter has settled before it begins.

    Raises
    ------
    ValueError
        The signal is shorter than what it would be continued by.
    """
    taps = 2 * len(sections) + 1 - min(np.sum(sections[:, 2] == 0), np.sum(sections[:, 5] == 0))
    edge = PADDED_TAPS * int(taps)
    if len(signal) <= edge:
        raise ValueError(f"More than {edge} samples are wanted, not {len(signal)}.")
    before = 2 * signal[0] - signal[edge:0:-1]
    after = 2 * signal[-1] - signal[-2 : -edge - 2 : -1]
    continued = np.concatenate([before, signal, after])
    loop, own, rest = core(), np.array(sections, order="C"), rest_state(sections)
    for _ in range(2):
        line = np.ascontiguousarray(continued[None])
        loop(own, line, continued[0] * rest[None])
        continued = line[0, ::-1]
    return np.asarray(continued[edge:-edge])


def response(sections: Array, frequency_Hz: Array, rate_Hz: float) -> NDArray[np.complex128]:
    """Return the complex gain (n,) at frequencies (n,) in Hz."""
    z = np.exp(-2j * np.pi * frequency_Hz / rate_Hz)
    powers = np.stack([np.ones_like(z), z, z**2])
    return np.asarray(np.prod((sections[:, :3] @ powers) / (sections[:, 3:] @ powers), axis=0))
