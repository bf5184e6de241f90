"""Raw converter counts in time order: all that leaves this package."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NO_READING = -(2**31)
"""The count that stands for a conversion which gave no reading."""


@dataclass(frozen=True, slots=True)
class CountBlock:
    """Consecutive readings of all channels; a block never spans a missed conversion.

    Attributes
    ----------
    segment : int
        Number of the clock segment. A reboot of the board or a reconnection starts the next one; times of two
        segments cannot be compared.
    board_s : (n,) float64
        Instants at which the readings were ready, in seconds of the board's own clock, unwrapped. Not corrected
        to true seconds: that is the clock fit's work, once, where a duration is reported.
    counts : (n, channels) int32
        Raw converter counts, ``NO_READING`` where a conversion gave none.
    lost_before : int
        Conversions known to be missing directly before the first row; 0 when the block follows on.
    status : int
        Status bits of the frame (per channel two bits: bit 2c saturated, bit 2c+1 not ready).
    damaged : int
        Damaged frames seen since the block before.
    """

    segment: int
    board_s: NDArray[np.float64]
    counts: NDArray[np.int32]
    lost_before: int = 0
    status: int = 0
    damaged: int = 0

    def __len__(self) -> int:
        return len(self.board_s)
