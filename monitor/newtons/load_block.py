"""Load blocks: newtons of all cells, at the instants of the load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from monitor.newtons.calibration import Calibration


@dataclass(frozen=True, slots=True)
class LoadBlock:
    """Consecutive readings in newtons.

    Attributes
    ----------
    t_s : (n,) float64
        Instants at which the load was what the reading says: the reading's delay is taken off. Seconds of the
        record (board time where a board gave it).
    load_N : (n, channels) float64
        Downward positive; NaN where a reading failed.
    segment : int
        Number of the clock segment; times of two segments cannot be compared.
    lost_before : int
        Rows known to be missing directly before the first one.
    """

    t_s: NDArray[np.float64]
    load_N: NDArray[np.float64]
    segment: int = 0
    lost_before: int = 0

    def __len__(self) -> int:
        return len(self.t_s)


class Newtons:
    """Stage: counts to newtons, stamps to instants of the load.

    Parameters
    ----------
    calibration : Calibration
        In the order of the board's channels.
    delay_s : float
        From the middle of a conversion to its time stamp.
    """

    def __init__(self, calibration: Calibration, delay_s: float) -> None:
        self._calibration = calibration
        self._delay_s = delay_s

    def push(self, block: CountBlock) -> LoadBlock:
        """Return the block in newtons. Raises ``BadCalibration`` when the number of channels differs."""
        return LoadBlock(
            block.board_s - self._delay_s, self._calibration.newtons(block.counts), block.segment, block.lost_before
        )
