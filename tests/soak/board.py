"""A board in virtual time: the wire's bytes of the demo's story, with faults whose consequences are known exactly."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from firmware_bridge.counts import NO_READING
from firmware_bridge.framing import seal
from firmware_bridge.messages import Echo, Hello, Samples
from monitor.demo import DemoRig
from monitor.demo.electronics import Faults

RATE_HZ, ROWS = 80.0, 4
ECHO_EVERY_S = 1.7
FAULTS = ("drop", "corrupt", "double", "garbage", "miss", "noise", "unplug", "reboot", "clock step")
WEIGHTS = (20, 20, 20, 20, 20, 20, 3, 2, 3)
SOONEST_S, LATEST_S = 4.0, 40.0
"""Between two faults; also after a new connection: what is lost shows between two good frames of one boot."""


@dataclass
class Tally:
    """What the host must find, exactly."""

    sent: int = 0
    lost_on_the_wire: int = 0
    missed: int = 0
    damaged: int = 0
    repeated: int = 0
    unplugged: int = 0
    faults: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Piece:
    """What comes next: bytes, or that the cable is out or in; ``now_s`` is true time since the start."""

    now_s: float
    data: bytes = b""
    gone: bool = False
    back: bool = False
    echo_us: int | None = None
    utc_step_s: float = 0.0
    start_s: float | None = None


class SoakBoard:
    """Gives pieces in the order of time; ``starts`` tells when (true time) each boot's clock was at zero.

    The next fault comes within ``latest_s``.
    """

    def __init__(self, seed: int, hours: float, latest_s: float = LATEST_S) -> None:
        self.invented = DemoRig(seed, RATE_HZ, faults=Faults(missed_rate=0.0))
        self.tally = Tally()
        self.harm_s: list[float] = []
        self.out_s: list[tuple[float, float]] = []
        self._rng = random.Random(seed)
        self._noise = np.random.default_rng(seed)
        self._rows_in_all = int(hours * 3600 * RATE_HZ)
        self._latest_s = latest_s
        self._boot = 0
        self._sequence = 0

    def pieces(self) -> Iterator[Piece]:
        """Yield the whole time."""
        rng, row, missed = self._rng, 0, 0
        next_fault_s, next_echo_s = rng.uniform(8.0, self._latest_s), 0.5
        start_row = 0
        yield self._back(0.0, 0.0)
        while row < self._rows_in_all:
            counts, _ = self.invented.conversions(ROWS)
            now_s = (row + ROWS) / RATE_HZ
            first_us = round((row + 1 - start_row) * 1e6 / RATE_HZ) & 0xFFFFFFFF
            row += ROWS
            fault = ""
            if now_s >= next_fault_s:
                next_fault_s = now_s + rng.uniform(SOONEST_S, self._latest_s)
                (fault,) = rng.choices(FAULTS, WEIGHTS)
                self.tally.faults[fault] = self.tally.faults.get(fault, 0) + 1
                self.harm_s.append(now_s)
            if fault in ("unplug", "reboot"):
                away_s = rng.uniform(0.5, 30.0) if fault == "unplug" else 0.0
                away = int(away_s * RATE_HZ / ROWS) * ROWS
                if away:
                    self.invented.conversions(away)
                    row += away
                self.tally.unplugged += away + ROWS
                self.out_s.append((now_s - ROWS / RATE_HZ, row / RATE_HZ))
                start_row, missed = row, 0
                next_fault_s = max(next_fault_s, row / RATE_HZ + SOONEST_S)
                if fault == "unplug":
                    yield Piece(now_s, gone=True)
                yield self._back(row / RATE_HZ, row / RATE_HZ, link=fault == "unplug")
                continue
            if fault == "miss":
                missed += ROWS
                self.tally.missed += ROWS
                continue
            if fault == "noise":
                counts = self._noisy(counts)
            frame = self._frame(
                Samples.KIND, Samples(first_us, round(256e6 / RATE_HZ), missed & 0xFFFF, counts).to_body()
            )
            data = self._harmed(frame, fault)
            step_s = 0.0
            if fault == "clock step":
                step_s = rng.choice([-86_400.0, -3600.0, -1.0, 1.5, 3600.0, 86_400.0])
            yield Piece(now_s, data, utc_step_s=step_s)
            if now_s >= next_echo_s:
                next_echo_s = now_s + ECHO_EVERY_S
                yield Piece(now_s, echo_us=round((row - start_row) * 1e6 / RATE_HZ) & 0xFFFFFFFF)

    def echo(self, token: bytes, board_us: int) -> bytes:
        """Return the board's answer to an echo request."""
        return self._frame(Echo.KIND, Echo(token, board_us).to_body())

    def _back(self, now_s: float, start_s: float, *, link: bool = True) -> Piece:
        self._boot += 1
        self._sequence = 0
        hello = Hello(1, (0, 1, 0), b"soakrig0", self._boot, 6, round(RATE_HZ * 100), 0, round(5e5 / RATE_HZ), "soak")
        return Piece(now_s, self._frame(Hello.KIND, hello.to_body()), back=link, start_s=start_s)

    def _frame(self, kind: int, body: bytes) -> bytes:
        frame = seal(kind, self._sequence, body)
        self._sequence = (self._sequence + 1) & 0xFFFF
        return frame

    def _harmed(self, frame: bytes, fault: str) -> bytes:
        tally, rng = self.tally, self._rng
        if fault == "drop":
            tally.lost_on_the_wire += ROWS
            return b""
        if fault == "corrupt":
            tally.lost_on_the_wire += ROWS
            tally.damaged += 1
            at = rng.randrange(len(frame) - 1)
            # Neither the same byte nor a zero, which would make two pieces of it.
            flipped = rng.choice([b for b in range(1, 256) if b != frame[at]])
            return frame[:at] + bytes((flipped,)) + frame[at + 1 :]
        tally.sent += ROWS
        if fault == "double":
            tally.repeated += 1
            return frame + frame
        if fault == "garbage":
            garbage = rng.randbytes(rng.randint(1, 400))
            tally.damaged += sum(1 for piece in garbage.split(b"\0") if piece)
            return frame + garbage + b"\0"
        return frame

    def _noisy(self, counts: np.ndarray) -> np.ndarray:
        """Put a burst of wild and failed readings into one frame."""
        wild = counts.copy()
        channel = int(self._noise.integers(counts.shape[1]))
        wild[self._noise.integers(ROWS), channel] = self._noise.choice([NO_READING, 2**23 - 1, -(2**23), 1_234_567])
        return wild
