"""A device at the serial port that sends what no board would: afterwards a good one is measured as if nothing had been.

The bytes go through a real pseudo-terminal, the serial library, link, pipeline and store. Nothing here is timed; memory
is bounded by a figure that a queue without a bound would pass many times over.
"""

from __future__ import annotations

import functools
import os
import random
import select
import threading
import tty
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import psutil
import pytest
from blank import blank_database

from firmware_bridge.counts import CountBlock
from firmware_bridge.events import BoardFacts
from firmware_bridge.framing import seal
from firmware_bridge.link import LinkSource
from firmware_bridge.messages import Hello, Samples
from firmware_bridge.sources import LinkState, SourceEvent
from monitor.demo import DemoRig
from monitor.pipeline import Output
from monitor.service import MonitorService
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import DataFolder

WAIT_S = 60.0
MOST_MB = 150.0
GOOD_BOOT = 99_999_999
GOOD_ROWS, GOOD_FRAME = 5920, 16  # the story of one person, and how much of it a frame bears
CHANNELS = 6


def hello(boot: int, rate_cHz: int = 8000, channels: int = CHANNELS) -> bytes:
    greeting = Hello(1, (0, 1, 0), b"hellrig0", boot, channels, rate_cHz, 0, 6250, "hell")
    return seal(Hello.KIND, 0, greeting.to_body())


def frame(sequence: int, first_us: int, counts: np.ndarray, interval_256us: int = 3_200_000, missed: int = 0) -> bytes:
    body = Samples(first_us & 0xFFFFFFFF, interval_256us, missed & 0xFFFF, counts).to_body()
    return seal(Samples.KIND, sequence & 0xFFFF, body)


def flood() -> Iterator[bytes]:
    """Frames as long as they may be, as fast as the line takes them: minutes of readings within a moment."""
    yield hello(1)
    counts = np.full((255 // 8, CHANNELS), 40_000, dtype=np.int32)
    for n in range(600):
        yield frame(n + 1, n * len(counts) * 12_500, counts)


def flood_of_nothing() -> Iterator[bytes]:
    for _ in range(40):
        yield b"\0" * 65_536


def never_ending() -> Iterator[bytes]:
    for _ in range(120):
        yield b"\x55" * 65_536


def ten_thousand_hellos() -> Iterator[bytes]:
    for boot in range(10_000):
        yield hello(boot, rate_cHz=(8000, 0, 1, 2**32 - 1, 100_000)[boot % 5])


def absurd() -> Iterator[bytes]:
    """Right checksums around values that no board has."""
    rng = random.Random(5)
    edges = [0, 1, -1, 2**31 - 1, -(2**31), -(2**31) + 1, 2**23 - 1, -(2**23)]
    yield hello(7)
    for n in range(1500):
        rows = rng.choice([1, 2, 8])
        counts = np.array([[rng.choice(edges) for _ in range(CHANNELS)] for _ in range(rows)], dtype=np.int32)
        first_us = rng.choice([n * 100_000, 0, 2**32 - 1, rng.randrange(2**32)])
        interval = rng.choice([3_200_000, 3_200_000, 1, 2**32 - 1, 256])
        yield frame(n * rng.choice([1, 1, 1, 7, 40_000]), first_us, counts, interval, rng.choice([0, 0, 65_535, n]))
        if n % 200 == 100:
            yield hello(n, rate_cHz=rng.choice([1, 8000, 99_999_999]), channels=rng.choice([0, 1, 6, 8, 255]))


def other_protocols() -> Iterator[bytes]:
    """Yield what others say on such a line: a satellite receiver, a bus with registers, a modem, a boot loader."""
    lines = [
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
        b"\x01\x03\x00\x00\x00\x0a\xc5\xcd", b"\x01\x03\x14" + bytes(20) + b"\x4b\x2e",
        b"AT+CGMI\r\r\nOK\r\n", b"\x1b[2J\x1b[Hlogin: ", b"HTTP/1.1 200 OK\r\nContent-Length: 3\r\n\r\nabc",
        b"\xb5\x62\x01\x07\x5c\x00" + bytes(92) + b"\x00\x00", b"\x90\x3c\x7f\x80\x3c\x00", b"\xc0\x00\xdb\xdc\xc0",
        b'{"t":1,"x":[1,2,3]}\n', b"ets Jun  8 2016 00:22:57\r\nrst:0x1 (POWERON_RESET)\r\n", b"1,2,3\n", b"4;5;6\r\n",
        b"x:0.12 y:-0.98 z:0.05\r\n", b"\x16\x16\x02ABC\x03\x7f", b"0x00 0x01 0x02\n", b"12,abc,3*7F\n",
    ]  # fmt: skip
    rng = random.Random(3)
    for _ in range(3000):
        yield rng.choice(lines)
    yield b"\n\0"


@functools.cache
def good() -> tuple[list[bytes], list[float]]:
    """Return the demo's story as a board sends it, and how long its holds truly were (s).

    Somebody stands, hangs, lets go, and leaves.
    """
    invented = DemoRig(1, sessions=1)
    pieces = [b"\0" + hello(GOOD_BOOT)]
    for n in range(GOOD_ROWS // GOOD_FRAME):
        counts, _ = invented.conversions(GOOD_FRAME)
        pieces.append(frame(n + 1, n * GOOD_FRAME * 12_500, counts))
    return pieces, [truth.duration_s for truth in invented.truth()]


class Hell:
    """The monitor on a port whose other end is ours."""

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        self.connecting, self.caught_up = threading.Event(), threading.Event()
        self._draining = threading.Thread(target=self._drain, daemon=True)
        self._draining.start()
        self._good = False

    def _drain(self) -> None:
        try:
            while os.read(self._master, 4096):
                pass
        except OSError:
            pass

    def send(self, pieces: Iterable[bytes]) -> None:
        for piece in pieces:
            view = memoryview(piece)
            while view:
                select.select([], [self._master], [], WAIT_S)
                view = view[os.write(self._master, view[:4096]) :]

    def observe(self, event: SourceEvent, _out: Output) -> None:
        if isinstance(event, LinkState) and event.condition == "connecting":
            self.connecting.set()
        elif isinstance(event, BoardFacts):
            self._good = event.boot_count == GOOD_BOOT
        elif isinstance(event, CountBlock) and self._good and event.board_s[-1] > (GOOD_ROWS - GOOD_FRAME) / 80:
            self.caught_up.set()

    def close(self) -> None:
        os.close(self._slave)
        os.close(self._master)


@contextmanager
def monitor(folder: Path) -> Iterator[tuple[Hell, MonitorService]]:
    data, hell, invented = DataFolder.open(folder), Hell(), DemoRig(1)
    blank_database(data.database)
    patient = functools.partial(LinkSource, silence_s=60.0)
    rig_source = recorded_link(hell.path, invented.rig, invented.calibration, link_class=patient)
    try:
        with assemble(rig_source, data, observer=hell.observe) as station:
            station.service.start()
            assert hell.connecting.wait(WAIT_S)
            yield hell, station.service
    finally:
        hell.close()


HELLS = [flood, flood_of_nothing, never_ending, ten_thousand_hellos, absurd, other_protocols]


@pytest.mark.parametrize("what", HELLS, ids=lambda hell: hell.__name__)
def test_a_good_board_is_measured_after_a_device_from_hell(tmp_path, what):
    pieces, truths = good()
    before_MB = psutil.Process().memory_info().rss / 1e6
    with monitor(tmp_path / "data") as (hell, service):
        hell.send(what())
        hell.send(pieces)
        assert hell.caught_up.wait(WAIT_S)
        grown_MB = psutil.Process().memory_info().rss / 1e6 - before_MB
        service.stop()
        # The warning of a load of tons stays: somebody has to look at the mount.
        assert [line for line in service.health()["warnings"] if "mount" not in line] == []
        holds = service.list_holds(100, 0)
    assert truths
    assert [hold.result.duration_s for hold in holds[::-1]][-len(truths) :] == pytest.approx(truths, abs=0.05)
    assert grown_MB < MOST_MB
