"""Load cells and their converter: newtons to counts, with the faults that real ones have."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING
from monitor.rig import STANDARD_GRAVITY_m_s2 as KGF_N

Array = NDArray[np.float64]

LARGEST_COUNT, SMALLEST_COUNT = 2**23 - 1, -(2**23)
"""Where a 24-bit two's complement converter saturates."""

COUNTS_AT_CAPACITY = 2**22
"""A cell of 2 mV/V at 5 V gives 10 mV at its capacity; at gain 128 the converter's 2^23 counts stand for 20 mV."""


@dataclass(frozen=True, slots=True)
class Faults:
    """How bad the electronics are; the defaults are those of ordinary cells and a low-cost converter.

    Attributes
    ----------
    noise_kgf : (float, float)
        Range of the channels' white noise, rms.
    u_rel_span : float
        Standard deviation of the calibrated span about the true one.
    u_zero_N : float
        The same of the zero.
    drift_kgf_per_min : float
        Steepest wandering of a zero; it turns back after some minutes.
    creep : float
        Largest share of the load by which a reading creeps, either way.
    spike_rate, failed_rate : float
        Probability of a wild or a failed reading, per reading.
    missed_rate : float
        Probability that a conversion is missed as a whole.
    """

    noise_kgf: tuple[float, float] = (0.022, 0.04)
    u_rel_span: float = 3e-4
    u_zero_N: float = 0.03
    drift_kgf_per_min: float = 0.02
    creep: float = 2.5e-4
    spike_rate: float = 1.5e-5
    failed_rate: float = 8e-6
    missed_rate: float = 4e-4


PERFECT = Faults((0.0, 0.0), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""Electronics without faults: only the quantisation is left."""


class Electronics:
    """Turns true loads into counts, channel by channel; the same seed gives the same faults.

    Parameters
    ----------
    capacity_N : sequence of float
        Rated capacity of each channel's cell.
    rate_Hz : float
    seed : int
    faults : Faults

    Attributes
    ----------
    zero_counts, counts_per_N : (channels,) float
        As they truly are (at the start; the zero drifts).
    noise_N : (channels,) float
        Rms of the white noise.
    spikes, failed, missed : int
        How many there were so far.
    """

    _CREEP_S = 35.0

    def __init__(self, capacity_N: Sequence[float], rate_Hz: float, *, seed: int, faults: Faults = Faults()) -> None:
        self._rng = rng = np.random.default_rng([seed, 0xE1EC])
        channels = len(capacity_N)
        self.rate_Hz = rate_Hz
        self.faults = faults
        self.counts_per_N = COUNTS_AT_CAPACITY / np.asarray(capacity_N) * rng.normal(1.0, 3e-3, channels)
        self.zero_counts = np.round(rng.uniform(-6e4, 6e4, channels))
        self.noise_N = rng.uniform(*faults.noise_kgf, channels) * KGF_N
        self._creep = rng.uniform(0.6, 1.0, channels) * faults.creep * rng.choice([-1.0, 1.0], channels)
        self._crept_N = np.zeros(channels)
        period_min = rng.uniform(9.0, 25.0, channels)
        self._drift_rad_s = 2 * math.pi / (60 * period_min)
        self._drift_N = rng.uniform(0.3, 1.0, channels) * faults.drift_kgf_per_min * KGF_N * period_min / (2 * math.pi)
        self._drift_phase = rng.uniform(0, 2 * math.pi, channels)
        self._done = 0
        self.spikes = self.failed = self.missed = 0

    def convert(self, load_N: Array) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the counts of the next conversions, and which of them were missed.

        Parameters
        ----------
        load_N : (n, channels) float
            Means of the true load over the sample intervals. NaN: that reading fails.

        Returns
        -------
        counts : (n, channels) int32, ``NO_READING`` where a reading failed.
        missed : (n,) bool
        """
        rng, faults = self._rng, self.faults
        n, channels = load_N.shape
        sensed_N = self._with_creep(np.nan_to_num(load_N)) + self._wandered_N(n)
        sensed_N += rng.standard_normal((n, channels)) * self.noise_N
        wild = rng.random((n, channels)) < faults.spike_rate
        size_N = rng.uniform(90.0, 600.0, (n, channels)) * rng.choice([-1.0, 1.0], (n, channels))
        sensed_N[wild] += size_N[wild]
        counts = np.rint(self.zero_counts + self.counts_per_N * sensed_N)
        counts = np.clip(counts, SMALLEST_COUNT, LARGEST_COUNT).astype(np.int32)
        failed = (rng.random((n, channels)) < faults.failed_rate) | np.isnan(load_N)
        counts[failed] = NO_READING
        missed: NDArray[np.bool_] = np.less(rng.random(n), faults.missed_rate)
        self._done += n
        self.missed += int(missed.sum())
        self.spikes += int((wild & ~failed)[~missed].sum())
        self.failed += int(failed[~missed].sum())
        return counts, missed

    def _with_creep(self, load_N: Array) -> Array:
        """Return the load and what the cells creep under it: a lag of first order."""
        keep = math.exp(-1.0 / (self.rate_Hz * self._CREEP_S))
        power = keep ** np.arange(1, len(load_N) + 1)[:, None]
        aim_N = self._creep * load_N
        crept_N = power * (self._crept_N + (1 - keep) * np.cumsum(aim_N / power, axis=0))
        if len(crept_N):
            self._crept_N = crept_N[-1]
        return np.asarray(load_N + crept_N)

    def _wandered_N(self, n: int) -> Array:
        """Return how far the zeros have wandered since the start, (n, channels) N."""
        t_s = (self._done + np.arange(n)) / self.rate_Hz
        phase = np.multiply.outer(t_s, self._drift_rad_s) + self._drift_phase
        return np.asarray(self._drift_N * (np.sin(phase) - np.sin(self._drift_phase)))
