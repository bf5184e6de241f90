"""Lives that are to be ended: the whole monitor on a virtual rig, and the single works that change what is kept.

Each runs in a process of its own and acknowledges what a person or a screen would have been told is kept.
"""

from __future__ import annotations

import datetime as dt
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

from firmware_bridge.sources import HostClock
from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo import DemoRig
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import save_calibration
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import AccessFile, DataFolder, open_store
from monitor.store.files.session_recorder import SessionRecorder
from monitor.store.files.storage import pack_finished
from monitor.store.maintenance.backup import make_backup
from monitor.store.maintenance.doctor import Doctor
from monitor.store.maintenance.rebuild import rebuild_unfinished
from tests.harm.acks import AckWriter
from tests.harm.power import log_now, watch_the_disk
from tests.harm.works import calibrating, reanalysing, zeroing

SPEED = 12.0


class AckingHub:
    """In the place of the screens: what they are told of holds is acknowledged."""

    def __init__(self, ack: AckWriter, folder: DataFolder) -> None:
        self._ack, self._folder = ack, folder

    def publish(self, _picture: object) -> None:
        """Take a picture."""

    def publish_event(self, event: dict[str, Any]) -> None:
        hold = event.get("hold")
        duration_s = hold["result"]["duration_s"] if hold else None
        self._ack("hold", kind=event["kind"], uid=event["uid"], duration_s=duration_s, wal=log_now(self._folder))


class AckingRecorder(SessionRecorder):
    """Acknowledges frames as the reading thread hands them over, while a journal is open."""

    def __init__(self, ack: AckWriter, clock: HostClock) -> None:
        super().__init__(clock)
        self._ack = ack
        self._frames = 0

    def tap(self, raw: bytes) -> None:
        super().tap(raw)
        writer = self._writer
        self._frames += 1
        if writer is not None and self._frames % 4 == 0:
            self._ack("frame", raw=raw.hex(), journal=str(writer.path))

    def begin(self, path: Path, note: dict[str, object]) -> None:
        super().begin(path, note)
        self._ack("journal", path=str(path))


def monitor_at_work(root: str, acks: str, seed: int) -> None:
    """Run the monitor on a virtual rig from somewhere in its story, while a coach and an owner work too."""
    ack, folder = AckWriter(Path(acks)), DataFolder.open(root)
    watch_the_disk(ack)
    invented = DemoRig(seed=seed % 7)
    invented.conversions((seed * 7919) % 6000)
    clock = HostClock(SPEED)
    board = VirtualBoard(
        invented.conversions, channels=len(invented.rig.channels), rate_Hz=invented.rig.nominal_rate_Hz, speed=SPEED
    )
    with board:
        rig_source = recorded_link(
            board.port, invented.rig, invented.calibration, clock=clock, recorder=AckingRecorder(ack, clock)
        )
        hub: Any = AckingHub(ack, folder)
        with assemble(rig_source, folder, hub=hub) as station:
            station.service.start()
            ack("ready")
            _people_at_work(folder, station.store, invented, ack)


def _people_at_work(folder: DataFolder, store: Any, invented: DemoRig, ack: AckWriter) -> None:
    access, pause = AccessFile(folder.access_file), threading.Event()
    begun = dt.datetime(2030, 1, 1, tzinfo=dt.UTC)
    (first, *_) = store.list_holds(None, newest_first=False)
    for number in range(1_000_000):
        store.set_setting("harm", number)
        ack("setting", number=number, wal=log_now(folder))
        made = store.corrections.make(first.uid, "retag", {"kind": ("active", "passive")[number % 2]}, reason="harm")
        ack("correction", id=made.id, wal=log_now(folder))
        path = save_calibration(
            folder.calibrations, replace(invented.calibration, id=f"n{number}"), begun + dt.timedelta(seconds=number)
        )
        ack("calibration", name=path.name, id=f"n{number}")
        access.sign_in("Olga", "owner", f"device {number}")
        ack("device", name=f"device {number}")
        pause.wait(0.02)


def migrating(root: str, acks: str, _seed: int) -> None:
    """Open an old database, which brings its tables up to date."""
    ack = AckWriter(Path(acks))
    ack("ready")
    open_store(DataFolder(Path(root)).database).close()


def rebuilding(root: str, acks: str, _seed: int) -> None:
    """Measure interrupted sessions again."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    with open_store(folder.database) as store:
        ack("ready")
        for one in rebuild_unfinished(store, folder, AnalysisSettings()):
            ack("rebuilt", uid=one.session_uid, holds=len(one.holds))


def packing(root: str, acks: str, _seed: int) -> None:
    """Pack the curves of finished days."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    with open_store(folder.database) as store:
        ack("ready")
        pack_finished(store, folder)


def backing_up(root: str, acks: str, _seed: int) -> None:
    """Make one backup after the other."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    ack("ready")
    for number in range(1000):
        made = make_backup(folder, folder.root.parent / "stick", keep=3, now_s=number)
        ack("backup", stamp=made.stamp)


def mending(root: str, acks: str, _seed: int) -> None:
    """Make a damaged database anew."""
    ack, folder = AckWriter(Path(acks)), DataFolder(Path(root))
    ack("ready")
    for finding in Doctor(folder, mending=True).examine():
        ack("finding", what=finding.what)


LIVES = {
    "monitor": monitor_at_work,
    "power": monitor_at_work,
    "migrating": migrating,
    "rebuilding": rebuilding,
    "packing": packing,
    "backing up": backing_up,
    "mending": mending,
    "reanalysing": reanalysing,
    "zeroing": zeroing,
    "calibrating": calibrating,
}
