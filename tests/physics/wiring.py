"""From the simulated loads to a result: electronics with their faults, counts, and the monitor's own way with them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from monitor.analysis import whole_result
from monitor.demo.electronics import LARGEST_COUNT, Electronics, Faults
from monitor.event_analyser import EventAnalyser
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.pipeline import Output
from monitor.rig import STANDARD_CHANNELS, Rig
from tests.physics.body import STEP_HZ

Array = NDArray[np.float64]

RATE_HZ = 80
CAPACITY_N = (1500.0, 1500.0, 1000.0, 1000.0, 1000.0, 1000.0)


@dataclass(frozen=True)
class Trouble:
    """What is wrong with the rig beside the ordinary.

    ``hum_N`` is the amplitude of a 50 Hz pickup in every cell; ``saturated`` names (channel, share of its capacity) at
    which a converter clips; ``gap`` is (start, length) of a time whose rows never arrive; ``faults`` replace the
    ordinary ones.
    """

    hum_N: float = 0.0
    saturated: tuple[int, float] | None = None
    gap: tuple[float, float] | None = None
    faults: Faults = field(default_factory=Faults)


def rig() -> Rig:
    """Return the rig that the bodies hang from: two bar cells, four platform cells."""
    return Rig("rigid bodies", STANDARD_CHANNELS, float(RATE_HZ), invented=True)


def calibration_of(electronics: Electronics, seed: int) -> Calibration:
    """Return what a calibration would say: right within its own uncertainties."""
    rng = np.random.default_rng([seed, 0xCA11])
    faults, channels = electronics.faults, []
    for channel, zero, gain in zip(STANDARD_CHANNELS, electronics.zero_counts, electronics.counts_per_N, strict=True):
        off_zero, off_span = np.clip(rng.standard_normal(2), -2, 2)
        channels.append(
            ChannelCalibration(
                channel=channel.name,
                zero_counts=float(zero + off_zero * faults.u_zero_N * gain),
                N_per_count=float((1 + off_span * faults.u_rel_span) / gain),
                u_zero_counts=float(faults.u_zero_N * gain),
                u_rel_span=faults.u_rel_span,
            )
        )
    return Calibration(tuple(channels), "rigid bodies")


def readings_N(load_N: Array) -> Array:
    """Return (m, 6) what a converter averages: means over its intervals of (n, 6) loads, 960 rows a second."""
    every = STEP_HZ // RATE_HZ
    n = (len(load_N) - 1) // every
    # Means of neighbouring rows stand in the middle between them: so the mean's centre is the interval's.
    between = 0.5 * (load_N[1:] + load_N[:-1])
    return np.asarray(between[: n * every].reshape(n, every, -1).mean(axis=1))


def _hum_N(n: int, amplitude_N: float, seed: int, channels: int) -> Array:
    """Return the mean of a 50 Hz hum over each interval, in closed form; the mains is never quite at 50 Hz."""
    mains_Hz = 50.003
    phases = np.random.default_rng([seed, 0x50]).uniform(0, 0.4, channels)
    middle_s = (np.arange(n) + 0.5) / RATE_HZ
    left = amplitude_N * np.sinc(mains_Hz / RATE_HZ)
    return np.asarray(left * np.sin(2 * np.pi * mains_Hz * middle_s[:, None] + phases))


def count_blocks(means_N: Array, seed: int, trouble: Trouble) -> tuple[list[CountBlock], Calibration]:
    """Return the session as counts, block by block, and the calibration in force.

    Parameters
    ----------
    means_N : (n, 6) float
        As ``readings_N`` returns them.
    """
    n = len(means_N)
    means = means_N + _hum_N(n, trouble.hum_N, seed, means_N.shape[1]) if trouble.hum_N else means_N
    electronics = Electronics(CAPACITY_N, float(RATE_HZ), seed=seed, faults=trouble.faults)
    counts, missed = electronics.convert(means)
    status = np.zeros(n, dtype=int)
    if trouble.saturated is not None:
        channel, share = trouble.saturated
        limit = electronics.zero_counts[channel] + share * CAPACITY_N[channel] * electronics.counts_per_N[channel]
        clipped = counts[:, channel] > limit
        counts[clipped, channel] = LARGEST_COUNT
        status[clipped] = 1 << (2 * channel)
    if trouble.gap is not None:
        start, length = trouble.gap
        missed[round(start * RATE_HZ) : round((start + length) * RATE_HZ)] = True
    ready_s = (np.arange(n) + 1) / RATE_HZ
    blocks: list[CountBlock] = []
    lost, row = 0, 0
    while row < n:
        if missed[row]:
            lost, row = lost + 1, row + 1
            continue
        end = row
        while end < n and not missed[end] and end - row < 8:
            end += 1
        bits = int(np.bitwise_or.reduce(status[row:end]))
        blocks.append(CountBlock(0, ready_s[row:end], counts[row:end], lost, bits))
        lost, row = 0, end
    return blocks, calibration_of(electronics, seed)


def measure(
    means_N: Array,
    seed: int,
    trouble: Trouble | None = None,
    analysis_settings: AnalysisSettings | None = None,
    *,
    live: bool = False,
) -> tuple[dict[str, Any], list[Output]]:
    """Return the monitor's result for simulated loads, from raw counts on; nothing of the truth is given."""
    blocks, calibration = count_blocks(means_N, seed, trouble or Trouble())
    analyser = EventAnalyser(analysis_settings or AnalysisSettings(), rig(), calibration, live=live)
    outputs = [analyser.take(block) for block in blocks]
    outputs.append(analyser.flush())
    result = whole_result(outputs, analyser.samples, analyser.lost, analyser.spikes, float(RATE_HZ))
    return result.as_dict(), outputs
