"""The clocks: the host's, the board's unwrapped microseconds, and the fit of one against the other."""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.messages import difference

CRYSTAL_TOLERANCE = 5e-5
"""Standard uncertainty of a rate that nobody has measured; tolerance of a plain quartz crystal (common practice)."""

FLOOR_OF_U_RATE = 5e-7
"""A rate is never claimed to be known better: a crystal's temperature moves it that much (common practice)."""

MEMORY_S = 600.0
"""Age at which an observation's weight has fallen to 1/e; a crystal drifts with its temperature."""

TRIMMING = 1.15
"""Enlarges a line's uncertainty where late arrivals were cut off by their distance from that same line.

The cut moves with the line, which the plain formula does not know. Own derivation for exponential delays cut at 3
robust deviations (1.4826 x median deviation) above their median: a share p = 0.94 remains, the density at the cut times
the cut's distance from the mean of the rest is q = 0.12, and the true deviation is p / (p - q) = 1.14 times the plain
one.
"""

MOST_OBSERVATIONS = 600
SLOWEST_ROUND_TRIP_NS = 2_000_000_000

MOST_OFF = 0.2
"""No oscillator is further off (a bare RC one by some percent: common practice, no source). Arrivals that say so show
a backlog being caught up, or a device that does not send in real time."""

JUMP_NS = 500_000_000
"""A clock's offset that moves further than this has jumped and is reported again."""


class HostClock:
    """The host's clocks, which may run faster than real time for demonstrations and tests.

    Parameters
    ----------
    speed : float
        Seconds of this clock per real second, > 0. At 1 it is the system's monotonic clock and UTC.
    """

    def __init__(self, speed: float = 1.0) -> None:
        if not speed > 0:
            raise ValueError(f"The clock's speed must be above 0, not {speed!r}.")
        self.speed = speed
        self._origin_ns = time.monotonic_ns()
        self._utc_origin_ns = time.time_ns()

    def monotonic_ns(self) -> int:
        """Return monotonic nanoseconds; their origin means nothing."""
        real = time.monotonic_ns()
        return real if self.speed == 1.0 else self._origin_ns + int((real - self._origin_ns) * self.speed)

    def utc_ns(self) -> int:
        """Return UTC nanoseconds since 1970, for display only: they may step."""
        if self.speed == 1.0:
            return time.time_ns()
        return self._utc_origin_ns + self.monotonic_ns() - self._origin_ns

    def utc_ns_at(self, monotonic_ns: int) -> int:
        """Return the UTC of an instant of this clock, at least 0; a step of UTC since then moves it."""
        return max(0, self.utc_ns() - (self.monotonic_ns() - monotonic_ns))

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for ``event`` at most ``seconds`` of this clock; True when it is set."""
        return event.wait(max(0.0, seconds / self.speed))


class BoardClock:
    """Unwraps the board's 32-bit microseconds; starts at the first raw stamp that it is given."""

    def __init__(self) -> None:
        self._latest_us: int | None = None

    def unwrap(self, board_us: int) -> int:
        """Return the unwrapped microseconds nearest to the latest ones (up to 35.8 minutes either way)."""
        if self._latest_us is None:
            self._latest_us = board_us
            return board_us
        unwrapped = self._latest_us + difference(board_us, self._latest_us & 0xFFFFFFFF)
        self._latest_us = max(self._latest_us, unwrapped)
        return unwrapped


@dataclass(frozen=True, slots=True)
class FittedClock:
    """A fitted clock: ``host_ns = host_ns_at_zero + rate * board_us * 1000``.

    ``u_rate`` is the standard uncertainty of ``rate``; ``utc_ns_at_zero`` is for display only.
    """

    rate: float
    u_rate: float
    host_ns_at_zero: int
    utc_ns_at_zero: int


class PromptestArrival:
    """The arrival of samples, of those since the last ``take``, that waited least on its way to the host."""

    def __init__(self) -> None:
        self._delay_ns: int | None = None
        self._arrival = (0, 0)

    def weigh(self, received_ns: int, board_s: float) -> None:
        """Compare an arrival with the promptest one; ``board_s`` (unwrapped) is its last sample's time."""
        board_ns = round(board_s * 1e9)
        delay_ns = received_ns - board_ns
        if self._delay_ns is None or delay_ns < self._delay_ns:
            self._delay_ns = delay_ns
            self._arrival = (received_ns, round(board_ns / 1000) & 0xFFFFFFFF)

    def take(self) -> tuple[int, int] | None:
        """Return the host's ns and the board's raw us of the promptest arrival, None without one; start over."""
        arrival = None if self._delay_ns is None else self._arrival
        self._delay_ns = None
        return arrival


@dataclass(frozen=True, slots=True)
class _Observation:
    board_us: int
    host_ns: int
    u_s: float


class ClockFitter:
    """Fits offset and rate of one clock segment, with forgetting.

    An echo bounds the host's time at a board time on both sides: the middle of its round trip is off by at most half
    of it, a rectangular distribution (JCGM 100, 4.3.7), so fast round trips weigh more by themselves. Where a board
    answers no echoes, arrivals of samples stand in; their scatter is estimated from the residuals and late ones are
    left out. A constant delay moves the offset, never the rate.
    """

    def __init__(self) -> None:
        self._echoes: deque[_Observation] = deque(maxlen=MOST_OBSERVATIONS)
        self._arrivals: deque[_Observation] = deque(maxlen=MOST_OBSERVATIONS)
        self._observed = 0
        self._fitted_at = 0
        self._utc_minus_host_ns = 0
        self._reported: FittedClock | None = None
        self._impossible_in_a_row = 0
        self._latest: FittedClock | None = None

    def echo(self, sent_ns: int, received_ns: int, board_us: int, utc_ns: int) -> FittedClock | None:
        """Take one round trip (``board_us`` unwrapped); return a fit that is worth reporting, or None."""
        round_trip_ns = received_ns - sent_ns
        if not 0 <= round_trip_ns <= SLOWEST_ROUND_TRIP_NS:
            return None
        self._utc_minus_host_ns = utc_ns - received_ns
        u_s = max(round_trip_ns * 1e-9 / np.sqrt(12.0), 1e-6)
        self._echoes.append(_Observation(board_us, sent_ns + round_trip_ns // 2, float(u_s)))
        self._distrust_a_jump(self._echoes)
        return self._again()

    def arrival(self, received_ns: int, board_us: int, utc_ns: int) -> FittedClock | None:
        """Take the arrival of a stamp (``board_us`` unwrapped); return a fit that is worth reporting, or None."""
        self._utc_minus_host_ns = utc_ns - received_ns
        self._arrivals.append(_Observation(board_us, received_ns, 0.0))
        return self._again()

    def _distrust_a_jump(self, echoes: deque[_Observation]) -> None:
        """Start over when echo after echo lies outside its own round trip: one of the clocks has jumped."""
        fit, newest = self._latest, echoes[-1]
        if fit is None or len(echoes) < 4:
            return
        predicted_ns = fit.host_ns_at_zero + fit.rate * newest.board_us * 1000
        room_s = 4 * newest.u_s + 4 * fit.u_rate * (newest.board_us - echoes[0].board_us) * 1e-6 + 1e-3
        possible = abs(newest.host_ns - predicted_ns) * 1e-9 <= room_s
        self._impossible_in_a_row = 0 if possible else self._impossible_in_a_row + 1
        if self._impossible_in_a_row >= 6:
            for stale in range(len(echoes) - 6):
                del stale
                echoes.popleft()
            self._arrivals.clear()
            self._impossible_in_a_row = 0

    def _again(self) -> FittedClock | None:
        self._observed += 1
        due = self._observed <= 8 or self._observed >= 1.2 * self._fitted_at or self._observed >= self._fitted_at + 20
        if due:
            self._fitted_at = self._observed
            self._latest = self._fit()
        return self._worth_reporting()

    def _worth_reporting(self) -> FittedClock | None:
        new, old = self._latest, self._reported
        if new is None:
            return None
        new = FittedClock(new.rate, new.u_rate, new.host_ns_at_zero, new.host_ns_at_zero + self._utc_minus_host_ns)
        if old is not None:
            better = new.u_rate < 0.7 * old.u_rate
            moved = abs(new.rate - old.rate) > max(2 * old.u_rate, 4 * FLOOR_OF_U_RATE)
            jumped = abs(new.host_ns_at_zero - old.host_ns_at_zero) > JUMP_NS
            if not (better or moved or jumped):
                if abs(old.utc_ns_at_zero - old.host_ns_at_zero - self._utc_minus_host_ns) <= JUMP_NS:
                    return None
                # Only the wall clock has stepped: the same rate under a new label, so that no duration can change.
                new = FittedClock(
                    old.rate, old.u_rate, old.host_ns_at_zero, old.host_ns_at_zero + self._utc_minus_host_ns
                )
        self._reported = new
        return new

    def _fit(self) -> FittedClock:
        # Echoes are far better, but one or two say no more about the rate than arrivals already have.
        observations = list(self._echoes) if len(self._echoes) >= 3 or not self._arrivals else list(self._arrivals)
        origin = observations[-1]
        board_s = np.array([(one.board_us - origin.board_us) * 1e-6 for one in observations])
        lead_s = np.array([(one.host_ns - origin.host_ns) * 1e-9 for one in observations]) - board_s
        u_s = np.array([one.u_s for one in observations])
        weight = np.exp(board_s / MEMORY_S)
        if observations[0].u_s > 0:
            # Twice the longest error that a round trip allows: the stamp is wrong, or a clock has jumped.
            slope, offset_s, u_slope = _line(board_s, lead_s, u_s, weight)
            sound = np.abs(lead_s - slope * board_s - offset_s) <= 2 * np.sqrt(3.0) * u_s
            if sound.sum() >= max(3, len(sound) // 2) and not sound.all():
                slope, offset_s, u_slope = _line(board_s[sound], lead_s[sound], u_s[sound], weight[sound])
        else:
            slope, offset_s, u_slope = _line_of_arrivals(board_s, lead_s, weight)
        known = u_slope < CRYSTAL_TOLERANCE or abs(slope) > 2 * CRYSTAL_TOLERANCE + 4 * u_slope
        if known and (observations[0].u_s > 0 or abs(slope) <= MOST_OFF):
            rate, u_rate = 1.0 + slope, max(u_slope, FLOOR_OF_U_RATE)
        else:
            rate, u_rate = 1.0, CRYSTAL_TOLERANCE
            offset_s = float(np.average(lead_s, weights=weight / np.maximum(u_s, 1e-6) ** 2))
        back_ns = round(rate * origin.board_us * 1000)
        return FittedClock(rate, u_rate, origin.host_ns + round(offset_s * 1e9) - back_ns, 0)


def _line(
    x: NDArray[np.float64], y: NDArray[np.float64], u: NDArray[np.float64], memory: NDArray[np.float64]
) -> tuple[float, float, float]:
    """Return slope, intercept at 0 and the slope's standard uncertainty of a weighted line.

    The uncertainty propagates ``u`` of each y through the estimator (JCGM 100, eq. 10) and is enlarged by the root
    of the reduced chi-square where the scatter is larger than ``u``. Infinite for fewer than three points.
    """
    weight = memory / u**2
    total = weight.sum()
    mean_x, mean_y = float((weight * x).sum() / total), float((weight * y).sum() / total)
    off = x - mean_x
    spread = float((weight * off**2).sum())
    if len(x) < 3 or spread <= 0 or float(np.ptp(x)) < 1.0:
        return 0.0, mean_y, float("inf")
    slope = float((weight * off * (y - mean_y)).sum() / spread)
    residual = y - mean_y - slope * off
    chi_square = float((memory * (residual / u) ** 2).sum() / memory.sum()) * len(x) / (len(x) - 2)
    u_slope = float(np.sqrt(((weight * off * u) ** 2).sum()) / spread) * max(1.0, float(np.sqrt(chi_square)))
    return slope, mean_y - slope * mean_x, u_slope


def _line_of_arrivals(
    x: NDArray[np.float64], y: NDArray[np.float64], memory: NDArray[np.float64]
) -> tuple[float, float, float]:
    """Return slope, intercept and the slope's uncertainty for arrivals of unknown scatter; late ones are left out."""
    keep = np.ones(len(x), dtype=bool)
    fit = _line(x, y, np.ones(len(x)), memory)
    if len(x) < 6:
        return fit[0], float(y.min()), float("inf")
    for _ in range(4):
        residual = y - fit[0] * x - fit[1]
        middle = float(np.median(residual[keep]))
        scatter = max(1.4826 * float(np.median(np.abs(residual[keep] - middle))), 2e-5)
        keep = residual <= middle + 3 * scatter
        fit = _line(x[keep], y[keep], np.full(int(keep.sum()), scatter), memory[keep])
    return fit[0], fit[1], TRIMMING * fit[2]
