"""A uniform grid of rows: lost rows become rows of NaN, so that filters and sample counts stay correct."""

from __future__ import annotations

import numpy as np

from monitor.newtons.load_block import LoadBlock

LONGEST_FILLED_S = 10.0
"""A longer gap starts a new record: what happened in it is anyone's guess (common practice, no source)."""


class UniformGrid:
    """Stage: puts rows of NaN where rows were lost. Rate in rows per second, a hint for the longest gap."""

    def __init__(self, rate_Hz: float) -> None:
        self._longest = int(LONGEST_FILLED_S * rate_Hz)
        self._segment: int | None = None
        self._last_s = 0.0
        self.lost = 0

    def push(self, block: LoadBlock) -> tuple[LoadBlock, bool]:
        """Return the block with lost rows put in, and whether a new record begins with it."""
        if not len(block):
            return block, False
        restart = self._segment is None or block.segment != self._segment or block.lost_before > self._longest
        if self._segment == block.segment:
            self.lost += block.lost_before
        last_s, self._last_s, self._segment = self._last_s, float(block.t_s[-1]), block.segment
        if restart or not block.lost_before:
            return block, restart
        gap = block.lost_before
        first_s = float(block.t_s[0])
        filled_s = last_s + (first_s - last_s) * np.arange(1, gap + 1) / (gap + 1)
        empty = np.full((gap, block.load_N.shape[1]), np.nan)
        return LoadBlock(
            np.concatenate([filled_s, block.t_s]), np.concatenate([empty, block.load_N]), block.segment, 0
        ), False
