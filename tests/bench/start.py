"""Time to the first page, and memory over ten minutes of record at accelerated replay."""

from __future__ import annotations

import json
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
from monitor.demo import DemoRig
from monitor.event_analyser import rig_note
from monitor.records.person import Person
from monitor.store import DataFolder, open_store
from tests.bench.material import invented_hold

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
    """Yield the resident memory of ``hang-monitor run`` through ten minutes of record, without and with coaching."""
    with tempfile.TemporaryDirectory() as place:
        journal = Path(place) / "ten_minutes.journal"
        _record(journal)
        for who in ("nobody coached", "coached"):
            folder = DataFolder.open(Path(place) / who)
            uid = _known_person(folder)
            with _running(
                "run", "--replay", str(journal), "--speed", str(REPLAY_SPEED), "--data", str(folder.root)
            ) as (process, address):
                watched = psutil.Process(process.pid)
                pause = threading.Event()
                for share in (0.1, 0.25, 0.5, 0.75, 1.0):
                    pause.wait((share - (0.0 if share == 0.1 else _before(share))) * RECORD_S / REPLAY_SPEED)
                    if who == "coached":
                        _coached(address, uid)
                    resident_MB = watched.memory_info().rss / MB
                    yield f"{who}, after {share * RECORD_S / 60:.1f} min of record: {resident_MB:.0f} MB"
    yield "goal: under 150 MB, flat"


def _known_person(folder: DataFolder) -> str:
    """Keep an invented person with 45 holds over a month; return their uid."""
    with open_store(folder.database) as store:
        person = store.people.save(Person("", "Somebody", time_zone="Europe/Vienna"))
        for day in range(1, 31, 2):
            at_ns = time.time_ns() - day * 86_400 * 10**9
            session = store.begin_session(at_ns, {}, person_uid=person.uid)
            for number in (1, 2, 3):
                store.save_hold(invented_hold(session, number, at_ns))
            store.end_session(session, at_ns + 600 * 10**9)
    return person.uid


def _coached(address: str, uid: str) -> None:
    """Name the person at the bar, which prescribes, and ask for what their page shows."""
    who = json.dumps({"person_uid": uid}).encode()
    requested = [
        urllib.request.Request(f"{address}api/who", who, {"Content-Type": "application/json"}, method="PUT"),
        *(f"{address}api/people/{uid}/{page}" for page in ("prescription", "progress", "endurance", "strength")),
    ]
    for one in requested:
        urllib.request.urlopen(one, timeout=30).read()


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
