"""Loads made by hand as a journal: counts in frames of the wire, with the rig's note in front."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING
from firmware_bridge.framing import seal
from firmware_bridge.journal import JournalWriter
from firmware_bridge.messages import Hello, Samples
from monitor.event_analyser import rig_note
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Rig

N_PER_COUNT, ZERO_COUNTS = 0.001, 20_000.0
READING_DELAY_us = 6250
ROWS = 8


def calibration_of(rig: Rig) -> Calibration:
    return Calibration(tuple(ChannelCalibration(name, ZERO_COUNTS, N_PER_COUNT, 300, 5e-4) for name in rig.names))


def write_journal(
    path: Path, rig: Rig, load_N: NDArray[np.float64], *, rate_Hz: float = 80.0, start_us: int = 0, note: bool = True
) -> Calibration:
    """Write loads (n, channels) as sample frames of 8 rows; row k is stamped k intervals after ``start_us``."""
    calibration = calibration_of(rig)
    counts = np.where(np.isnan(load_N), NO_READING, np.rint(load_N / N_PER_COUNT + ZERO_COUNTS)).astype(np.int32)
    interval_us = 1e6 / rate_Hz
    hello = Hello(1, (0, 1, 0), b"by hand!", 1, len(rig.channels), round(rate_Hz * 100), 0, READING_DELAY_us, "hand")
    with JournalWriter(path) as journal:
        if note:
            journal.note(rig_note(rig, calibration))
        journal.append(seal(Hello.KIND, 0, hello.to_body()))
        for number, row in enumerate(range(0, len(counts), ROWS), start=1):
            first_us = (start_us + round(row * interval_us)) & 0xFFFFFFFF
            samples = Samples(first_us, round(interval_us * 256), 0, counts[row : row + ROWS])
            journal.append(seal(Samples.KIND, number & 0xFFFF, samples.to_body()))
    return calibration
