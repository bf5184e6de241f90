"""A whole program over a virtual rig that loads itself, many times as fast as life: for tests of work at the rig."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock
from firmware_bridge.virtual_board import VirtualBoard
from monitor.dashboard.app import create_app
from monitor.dashboard.hub import LiveHub
from monitor.demo import DemoRig
from monitor.demo.stage import Stage
from monitor.newtons.calibration import Calibration
from monitor.service import MonitorService, rig_card
from monitor.store import DataFolder, Store, open_store
from monitor.store.stay_recorder import StayRecorder

SPEED = 20.0


@dataclass
class BenchHall:
    url: str
    service: MonitorService
    store: Store
    folder: DataFolder
    stage: Stage


@contextlib.contextmanager
def serving(app: object) -> Iterator[str]:
    """Serve an application on a free port until the block ends."""
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="warning", lifespan="off", timeout_graceful_shutdown=2)  # type: ignore[arg-type]
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline_s = time.monotonic() + 20
        while not server.started:
            if time.monotonic() > deadline_s or not thread.is_alive():
                raise RuntimeError("The server did not start.")
            thread.join(0.01)
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(20)
        listener.close()


@contextlib.contextmanager
def bench_hall(root: Path, *, calibrated: bool = True, stays: int = 0, speed: float = SPEED) -> Iterator[BenchHall]:
    """Run service and page over a virtual rig; ``stays``: how many invented people come before it stays empty."""
    invented = DemoRig(1, stays=stays or 1)
    stage = Stage(1, invented)
    if not stays:
        stage.begin("zero", None)  # an empty rig from the beginning
    calibration: Calibration | None = invented.calibration if calibrated else None
    folder = DataFolder.open(root)
    clock = HostClock(speed)
    with open_store(folder.database) as store:
        rig = stage.rig
        board = VirtualBoard(stage.conversions, channels=len(rig.channels), rate_Hz=rig.nominal_rate_Hz, speed=speed)
        with board:
            recorder = StayRecorder(clock.monotonic_ns)
            link = LinkSource(board.port, tap=recorder.tap, clock=clock)
            recorder.prologue = link.prologue
            hub = LiveHub()
            service = MonitorService(
                source=link, rig=rig, calibration=calibration, store=store, folder=folder, hub=hub, clock=clock,
                recorder=recorder, practice=stage,
            )  # fmt: skip
            app = create_app(
                hub=hub, store=service, rig=rig_card(rig), control=service, coach=service, bench=service.bench
            )
            service.start()
            try:
                with serving(app) as url:
                    yield BenchHall(url, service, store, folder, stage)
            finally:
                service.stop()
