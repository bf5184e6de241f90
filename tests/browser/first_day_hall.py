"""A new program over a virtual rig that nobody has calibrated, to which somebody comes when a test says so."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import uvicorn
from numpy.typing import NDArray
from paced_time import PacedClock, PacedLink

from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo.people import INVENTED_PEOPLE, Person
from monitor.demo.recorded_session import BUFFER_BYTES, ScriptedHold, hall_electronics, session_counts
from monitor.demo.stage import Stage
from monitor.rig import Channel, Rig
from monitor.service import MonitorService
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import DataFolder, Store

USUAL_SPEED, QUICK_SPEED = 2.0, 60.0
ROWS_A_FRAME = 40
"""Fewer and longer frames than a real board's: nobody watches so closely, and each costs."""

SEED = 5
CELL_N = 3000.0
RIG = Rig(
    "Demo rig",
    (
        Channel("bar_left", "bar", -0.55, rated_N=CELL_N),
        Channel("bar_right", "bar", 0.55, rated_N=CELL_N),
        Channel("platform", "platform", rated_N=CELL_N),
    ),
    mount_rating_N=6000.0,
    invented=True,
)
"""Two hangers and a platform on one cell: the smallest rig that measures everything but the feet's place."""


class RigForOne:
    """An empty rig; ``play`` plays one session of an invented person through body model and cells."""

    def __init__(self, person: Person = INVENTED_PEOPLE[0]) -> None:
        self.rig = RIG
        self.person = person
        self.electronics = hall_electronics(self.rig, SEED)
        self._lock = threading.Lock()
        self._counts: NDArray[np.int32] = np.empty((0, len(self.rig.channels)), dtype=np.int32)
        self._missed: NDArray[np.bool_] = np.empty(0, dtype=bool)

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions: of the session while there is one, else of the empty rig."""
        with self._lock:
            counts, self._counts = self._counts[:n], self._counts[n:]
            missed, self._missed = self._missed[:n], self._missed[n:]
            if len(counts) < n:
                more, also = self.electronics.convert(np.zeros((n - len(counts), len(self.rig.channels))))
                counts, missed = np.concatenate((counts, more)), np.concatenate((missed, also))
            return counts, missed

    def play(self, holds: list[ScriptedHold]) -> None:
        """Let the person step on, do these holds, and step off."""
        counts, missed = session_counts(self.person, holds, self.rig, self, np.random.default_rng(SEED))  # type: ignore[arg-type]
        with self._lock:
            self._counts, self._missed = counts, missed

    def convert(self, load_N: NDArray[np.float64]) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Convert the loads of a session with the same cells."""
        three_N = np.column_stack((load_N[:, :2], load_N[:, 2:].sum(axis=1)))
        with self._lock:
            return self.electronics.convert(three_N)


@dataclass
class FirstDay:
    url: str
    rig_for_one: RigForOne
    service: MonitorService
    store: Store
    folder: DataFolder
    clock: PacedClock

    @contextlib.contextmanager
    def quick(self) -> Iterator[None]:
        """Let the rig's time pass as fast as the program digests it, while nothing but that is waited for."""
        self.clock.speed = QUICK_SPEED
        try:
            yield
        finally:
            self.clock.speed = USUAL_SPEED


@contextlib.contextmanager
def serving(app: object) -> Iterator[str]:
    """Serve an application on a free port until the block ends."""
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", lifespan="off", timeout_graceful_shutdown=5)  # type: ignore[arg-type]
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline_s = time.monotonic() + 30
        while not server.started:
            if time.monotonic() > deadline_s or not thread.is_alive():
                raise RuntimeError("The server did not start.")
            thread.join(0.01)
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(30)
        listener.close()


@contextlib.contextmanager
def first_day(root: Path) -> Iterator[FirstDay]:
    """Run the whole program over an empty data folder and the virtual rig's pseudo-terminal."""
    rig_for_one = RigForOne()
    stage = Stage(SEED, rig_for_one)  # type: ignore[arg-type]
    folder = DataFolder.open(root)
    clock = PacedClock(USUAL_SPEED)
    with contextlib.ExitStack() as stack:
        rig = stage.rig
        board = VirtualBoard(
            stage.conversions, channels=len(rig.channels), rate_Hz=rig.nominal_rate_Hz, clock=clock,
            buffer_bytes=BUFFER_BYTES, samples_per_frame=ROWS_A_FRAME,
        )  # fmt: skip
        clock.paces(board)
        stack.enter_context(board)
        rig_source = recorded_link(board.port, rig, None, clock=clock, practice=stage, link_class=PacedLink)
        station = stack.enter_context(assemble(rig_source, folder))
        app = station.app(jobs=stack.enter_context(station.job_runner()))
        station.service.start()
        stack.callback(station.service.stop)
        yield FirstDay(stack.enter_context(serving(app)), rig_for_one, station.service, station.store, folder, clock)
