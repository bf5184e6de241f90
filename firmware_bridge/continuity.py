"""Sequence numbers and times: what was lost, what came twice, and when the board restarted."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from statistics import median
from typing import Literal

from firmware_bridge.messages import Samples, difference

Verdict = Literal["follows", "repeated", "restart"]

_NEAR = 256
"""Frames that may be missing while a jump of time is still believed to lie within one run of the board."""

_MOST_ROWS = 255
_LONGEST_PAUSE_US = 60_000_000
_MOST_INTERVALS = 64


@dataclass(frozen=True, slots=True)
class Judgement:
    """How a sample frame follows on those before; ``lost`` counts conversions missing directly before it."""

    verdict: Verdict
    lost: int = 0


class FrameContinuity:
    """Judges the frames of one board by sequence number (modulo 65536), missed counter and time.

    Sequence numbers show *that* frames are missing, times show *how many conversions*. Where nothing but the board's
    missed counter moved, the counter is believed.
    """

    def __init__(self) -> None:
        self._last_sequence: int | None = None
        self._last: Samples | None = None
        self._last_samples_sequence = 0
        self._others_since = 0
        self._recent: deque[tuple[int, int, int]] = deque(maxlen=64)

    def other(self, sequence: int) -> bool:
        """Take a frame of the board that carries no samples; False when it came twice."""
        again = self._last_sequence == sequence
        self._last_sequence = sequence
        self._others_since += not again
        return not again

    def samples(self, sequence: int, new: Samples) -> Judgement:
        """Judge a sample frame; after a ``restart`` the state already starts with it."""
        rows = len(new.counts)
        key = (sequence, new.first_us, rows)
        if self._last_sequence is not None and sequence != (self._last_sequence + 1) & 0xFFFF and key in self._recent:
            return Judgement("repeated")
        judgement = self._judge(sequence, new)
        if judgement.verdict == "restart":
            self._recent.clear()
        self._recent.append(key)
        self._last_sequence = self._last_samples_sequence = sequence
        self._last, self._others_since = new, 0
        return judgement

    def _judge(self, sequence: int, new: Samples) -> Judgement:
        last = self._last
        if last is None:
            return Judgement("follows")
        if new.counts.shape[1] != last.counts.shape[1]:
            return Judgement("restart")
        interval = (new.interval_256us + last.interval_256us) / 2
        gap = difference(new.first_us << 8, (last.first_us << 8) + len(last.counts) * last.interval_256us, 40)
        # Counted from sample frame to sample frame: a frame lost before an echo must not hide behind the echo.
        ahead = (sequence - self._last_samples_sequence - self._others_since) & 0xFFFF
        missed = (new.missed - last.missed) & 0xFFFF
        if gap < -interval:
            return Judgement("restart")
        by_time = max(0, round(gap / interval))
        if ahead == 1 and abs(by_time - missed) <= 1:
            return Judgement("follows", missed)
        if 1 <= ahead <= _NEAR:
            return Judgement("follows", by_time)
        # So many frames are missing that the numbers may be those of another run; the times must agree.
        rounds = max(0, round((by_time - missed) / 65536))
        frames = max(0, ahead - 1)
        most = frames * _MOST_ROWS + missed + rounds * 65536
        if ahead and frames // 2 <= by_time <= most:
            return Judgement("follows", by_time)
        return Judgement("restart")


class LineContinuity:
    """Judges lines of text, which carry nothing but a time.

    A line whose time runs backwards or leaps by more than a minute is either damaged (a cut line may still look
    whole) or the first of a new run. It is held until the next line shows which.
    """

    def __init__(self) -> None:
        self._last_us: int | None = None
        self._held: Samples | None = None
        self._intervals_us: deque[int] = deque(maxlen=_MOST_INTERVALS)
        self._interval_us = 0.0
        self._channels = 0
        self.damaged = 0
        self.repeated = 0

    @property
    def interval_us(self) -> float:
        """Median of the latest intervals, 0.0 until there are 16."""
        return self._interval_us

    def line(self, new: Samples) -> list[tuple[Judgement, Samples]]:
        """Take a line; return those that are now judged to follow or to restart, in order."""
        channels = new.counts.shape[1]
        if self._last_us is None:
            self._last_us, self._channels = new.first_us, channels
            return [(Judgement("follows"), new)]
        if self._held is None and channels == self._channels:
            step = difference(new.first_us, self._last_us)
            if 0 < step <= _LONGEST_PAUSE_US:
                return [(self._follow(step, new.first_us), new)]
            if step == 0:
                self.repeated += 1
                return []
        held, self._held = self._held, None
        if held is None:
            self._held = new
            return []
        if channels == self._channels and 0 < difference(new.first_us, self._last_us) <= _LONGEST_PAUSE_US:
            self.damaged += 1
            return [(self._follow(difference(new.first_us, self._last_us), new.first_us), new)]
        step = difference(new.first_us, held.first_us)
        if channels == held.counts.shape[1] and 0 < step <= _LONGEST_PAUSE_US:
            self._channels = channels
            self._last_us = held.first_us
            return [(Judgement("restart"), held), (self._follow(step, new.first_us), new)]
        self.damaged += 1
        self._held = new
        return []

    def _follow(self, step_us: int, stamp_us: int) -> Judgement:
        self._last_us = stamp_us
        lost = max(0, round(step_us / self._interval_us) - 1) if self._interval_us else 0
        self._intervals_us.append(step_us)
        if len(self._intervals_us) >= 16 and (not self._interval_us or len(self._intervals_us) == _MOST_INTERVALS):
            self._interval_us = float(median(self._intervals_us))
            if len(self._intervals_us) == _MOST_INTERVALS:
                self._intervals_us.clear()
        return Judgement("follows", lost)
