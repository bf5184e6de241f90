"""A whole rig on a table: virtual board, pseudo-terminal, serial library, link, service, database, journals."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import HostClock, SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.measures.picture import Picture
from monitor.newtons.calibration import Calibration
from monitor.pipeline import Output
from monitor.rig import Rig
from monitor.service import MonitorService
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import DataFolder, Store

LONGEST_WAIT_S = 200.0
LONG_FRAME = 16
"""Readings a frame where nothing hangs on how soon each comes: a board's own four cost twice the work."""


@dataclass
class TableRig:
    """What a test needs of the rig; ``arrived`` is set when ``expected`` rows have come through the pipeline."""

    board: VirtualBoard
    service: MonitorService
    store: Store
    folder: DataFolder
    expected: int | None = None
    pictures: list[Picture] = field(default_factory=list)
    outputs: list[Output] = field(default_factory=list)
    first_board_s: float | None = None
    samples: int = 0
    arrived: threading.Event = field(default_factory=threading.Event)

    def observe(self, event: SourceEvent, out: Output) -> None:
        self.pictures += out.pictures
        self.outputs.append(out)
        if isinstance(event, CountBlock) and len(event):
            if self.first_board_s is None:
                self.first_board_s = float(event.board_s[0])
            self.samples += len(event)
            if self.expected is not None and self.samples >= self.expected:
                self.arrived.set()

    def play_to_the_end(self) -> None:
        """Wait until the board has sent everything and all of it has been taken, then end the service."""
        assert self.board.finished.wait(LONGEST_WAIT_S)
        assert self.board.error is None
        self.expected = self.board.sent_samples
        if self.samples < self.expected:
            assert self.arrived.wait(LONGEST_WAIT_S)
        self.service.stop()


@contextmanager
def table_rig(
    folder: Path,
    board: VirtualBoard,
    rig: Rig,
    calibration: Calibration,
    *,
    speed: float,
    watched_by: Callable[[TableRig], object] | None = None,
) -> Iterator[TableRig]:
    """Run a service over a board; ``watched_by`` gets the table before the first event can come."""

    def observe(event: SourceEvent, out: Output) -> None:
        table.observe(event, out)

    data = DataFolder.open(folder)
    with board:
        rig_source = recorded_link(board.port, rig, calibration, clock=HostClock(speed))
        with assemble(rig_source, data, observer=observe) as station:
            table = TableRig(board, station.service, station.store, data)
            if watched_by is not None:
                watched_by(table)
            station.service.start()
            yield table
