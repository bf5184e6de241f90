"""Presence: when somebody steps onto the rig, and when the rig is left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.signals.session_loads import Array
from monitor.signals.windows import PRESENT_N

COMES_AFTER_S = 0.3
LEAVES_AFTER_S = 3.0
"""A load must stay on, or off, for so long before somebody is taken to have come, or left (common practice, no
source)."""

LEAVES_BAR_AFTER_S = 12.0
"""Without a platform nobody is visible between two hangs of a set, so the rig waits longer (common practice, no
source)."""

LONGEST_SESSION_S = 7200.0
"""A session is cut after two hours: a load that stays for longer is a thing left on the rig (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Came:
    """Somebody came; ``tick`` is the first one with load."""

    tick: int


@dataclass(frozen=True, slots=True)
class Left:
    """The rig was left; ``tick`` is the last one that belongs to the session."""

    tick: int


class Presence:
    """Detects arrival and departure from the mean load of ticks (short spans of fixed length), each with a delay.

    Parameters
    ----------
    tick_s : float
        Length of a tick.
    has_platform : bool
    """

    def __init__(self, tick_s: float, *, has_platform: bool) -> None:
        self._come = max(1, round(COMES_AFTER_S / tick_s))
        self._leave = max(1, round((LEAVES_AFTER_S if has_platform else LEAVES_BAR_AFTER_S) / tick_s))
        self._longest = round(LONGEST_SESSION_S / tick_s)
        self._tick = 0
        self._run = 0
        self._since = 0
        self.here = False

    def push(self, mean_N: Array) -> Iterator[Came | Left]:
        """Yield arrivals and departures in the ticks (n,); NaN ticks (nothing received) change nothing."""
        end = self._tick + len(mean_N)
        if len(mean_N) > 1 and self.here and end - self._since <= self._longest and (mean_N >= PRESENT_N / 2).all():
            # Shortcut: somebody is here and stays.
            self._tick, self._run = end, 0
            return
        for value in mean_N.tolist():
            tick = self._tick
            self._tick += 1
            if value != value:
                continue
            if not self.here:
                self._run = self._run + 1 if value > PRESENT_N else 0
                if self._run >= self._come:
                    self.here, self._since, self._run = True, tick, 0
                    yield Came(tick - self._come + 1)
                continue
            self._run = self._run + 1 if value < PRESENT_N / 2 else 0
            if self._run >= self._leave or tick - self._since >= self._longest:
                self.here, self._run = False, 0
                yield Left(tick)
