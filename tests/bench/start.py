"""Time to the first page, and memory over ten minutes of record at accelerated replay."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from firmware_bridge.journal import JournalWriter
from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock
from firmware_bridge.virtual_board import VirtualBoard
from monitor.analysis import rig_note
from monitor.demo import DemoRig

RECORD_S = 600.0
RECORD_SPEED = 60.0
REPLAY_SPEED = 30.0
MB = 1e6


@contextmanager
def _running(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", *arguments, "--page-port", "0"], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if match := re.match(r"Live page: (\S+)", line):
                yield process, match.group(1)
                break
    finally:
        process.terminate()
        process.communicate(timeout=30)


def first_page() -> Iterator[str]:
    """Yield the seconds from the command to the first whole page, three times."""
    with tempfile.TemporaryDirectory() as folder:
        for turn in ("first ever", "second", "third"):
            begun = time.perf_counter()
            with _running("demo", "--data", folder) as (process, address):
                urllib.request.urlopen(address, timeout=10).read()
                passed_s, used = time.perf_counter() - begun, psutil.Process(process.pid).cpu_times()
                yield (
                    f"{turn} start: {passed_s:.2f} s to the first page (goal 3 s), {used.user + used.system:.2f} s of "
                    f"the processor's time"
                )


def memory() -> Iterator[str]:
    """Yield the resident memory of ``hang-monitor run`` through ten minutes of record."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "ten_minutes.journal"
        _record(journal)
        with _running("run", "--replay", str(journal), "--speed", str(REPLAY_SPEED), "--data", folder) as (process, _):
            watched = psutil.Process(process.pid)
            pause = threading.Event()
            for share in (0.1, 0.25, 0.5, 0.75, 1.0):
                pause.wait((share - (0.0 if share == 0.1 else _before(share))) * RECORD_S / REPLAY_SPEED)
                yield f"after {share * RECORD_S / 60:.1f} min of record: {watched.memory_info().rss / MB:.0f} MB"
    yield "goal: under 150 MB, flat"


def _before(share: float) -> float:
    shares = (0.1, 0.25, 0.5, 0.75, 1.0)
    return shares[shares.index(share) - 1]


def _record(path: Path) -> None:
    """Record ten minutes of the demo's rig into one journal, through a pseudo-terminal."""
    invented = DemoRig(seed=3)
    clock = HostClock(RECORD_SPEED)
    board = VirtualBoard(
        invented.conversions,
        channels=len(invented.rig.channels),
        rate_Hz=invented.rig.nominal_rate_Hz,
        speed=RECORD_SPEED,
    )
    with board, JournalWriter(path) as journal:
        journal.note(rig_note(invented.rig, invented.calibration))
        link = LinkSource(board.port, tap=journal.append, clock=clock)
        for _ in link.events():
            if invented.given_s > RECORD_S:
                break
        link.close()
