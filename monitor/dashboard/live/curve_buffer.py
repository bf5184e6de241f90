"""The last seconds of all load curves, for screens that fall behind."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.dashboard.views.json_views import columns_view


@dataclass(frozen=True, slots=True)
class CurvePiece:
    """Consecutive samples of the buffer.

    Attributes
    ----------
    roll : int
        Number of the buffer's run; another rig or clock segment starts a new run.
    first, end : int
        Running numbers of the first sample and of the one after the last.
    lost : int
        Samples that had already left the buffer when they were requested.
    restart : bool
        The reader has nothing of this run yet: its samples belong to another clock.
    names : tuple of str
        One name for each column.
    t_s : (n,) float64
        Board time in seconds.
    load_N : (n, columns) float64
        Loads in newtons; NaN where a reading failed.
    """

    roll: int
    first: int
    end: int
    lost: int
    restart: bool
    names: tuple[str, ...]
    t_s: NDArray[np.float64]
    load_N: NDArray[np.float64]

    def view(self) -> dict[str, Any]:
        """Return the piece as plain JSON data: loads by column, to 0.1 N, None where a reading failed."""
        return {"lost": self.lost, "restart": self.restart, **columns_view(self.names, self.t_s, self.load_N)}


class CurveBuffer:
    """Holds the newest ``keep_s`` seconds of samples; every reader passes the position where it stopped.

    Not thread-safe: the hub's lock guards it.
    """

    def __init__(self, keep_s: float) -> None:
        self._keep_s = keep_s
        self._blocks: deque[tuple[int, NDArray[np.float64], NDArray[np.float64]]] = deque()
        self._names: tuple[str, ...] = ()
        self._roll = 0
        self._end = 0

    @property
    def end(self) -> tuple[int, int]:
        """The place after the newest sample."""
        return self._roll, self._end

    def append(self, names: Sequence[str], t_s: NDArray[np.float64], load_N: NDArray[np.float64]) -> None:
        """Add samples (n,) and (n, columns); other columns or a time that runs backwards start a new run."""
        if len(t_s) == 0:
            return
        runs_back = bool(self._blocks) and t_s[0] <= self._blocks[-1][1][-1]
        if tuple(names) != self._names or runs_back:
            self._blocks.clear()
            self._names = tuple(names)
            self._roll += 1
        self._blocks.append((self._end, t_s, load_N))
        self._end += len(t_s)
        oldest_s = t_s[-1] - self._keep_s
        while self._blocks[0][1][-1] < oldest_s:
            self._blocks.popleft()

    def since(self, place: tuple[int, int] | None) -> CurvePiece | None:
        """Return the samples after ``place`` (None: the whole buffer); None when there are none."""
        if not self._blocks:
            return None
        same_roll = place is not None and place[0] == self._roll
        wanted = place[1] if place is not None and same_roll else self._blocks[0][0]
        if wanted >= self._end:
            return None
        first = max(wanted, self._blocks[0][0])
        parts_t, parts_N = [], []
        for start, t_s, load_N in reversed(self._blocks):
            if start + len(t_s) <= first:
                break
            cut = max(0, first - start)
            parts_t.append(t_s[cut:])
            parts_N.append(load_N[cut:])
        return CurvePiece(
            roll=self._roll,
            first=first,
            end=self._end,
            lost=first - wanted,
            restart=not same_roll,
            names=self._names,
            t_s=np.concatenate(parts_t[::-1]),
            load_N=np.concatenate(parts_N[::-1]),
        )
