"""What pulls a rig out of its work: a cable, a reboot, a killed process. Nothing that was measured may be lost."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from table_rig import TableRig, table_rig

from firmware_bridge.sources import SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo import DemoRig
from monitor.pipeline import Output, SessionMeasured
from monitor.service import INTERRUPTED
from monitor.station.sources import SourceConfig, open_source
from monitor.station.station import assemble
from monitor.store import DataFolder, open_store

SPEED = 12.0
WAIT_S = 120.0


class _Watch:
    """Sets an event when a condition on the table's pictures or outputs holds."""

    def __init__(self, table: TableRig, condition: Callable[[SourceEvent, Output], bool]) -> None:
        self.happened = threading.Event()
        watched = table.observe

        def observe(event: SourceEvent, out: Output) -> None:
            watched(event, out)
            if condition(event, out):
                self.happened.set()

        table.observe = observe  # type: ignore[method-assign]

    def wait(self) -> None:
        assert self.happened.wait(WAIT_S)


def _hanging(_event: SourceEvent, out: Output) -> bool:
    return any(p.hold is not None and not p.hold.ended and p.hold.time_s > 5.0 for p in out.pictures)


def _interrupted(_event: SourceEvent, out: Output) -> bool:
    return any(isinstance(e, SessionMeasured) and e.interrupted for e in out.events)


@pytest.mark.parametrize("harm", ["unplug", "reboot"])
def test_a_hold_cut_off_in_the_middle_is_kept_and_the_next_one_is_measured(harm: str, tmp_path: Path) -> None:
    invented = DemoRig(seed=5)
    board = VirtualBoard(
        invented.conversions,
        channels=len(invented.rig.channels),
        rate_Hz=invented.rig.nominal_rate_Hz,
        speed=SPEED,
        link=tmp_path / "board",
    )
    with table_rig(tmp_path / "data", board, invented.rig, invented.calibration, speed=SPEED) as table:
        _Watch(table, _hanging).wait()
        cut = _Watch(table, _interrupted)
        if harm == "unplug":
            board.unplug()
            board.replug()
        else:
            board.reboot()
        cut.wait()
        _Watch(table, _hanging).wait()
        table.service.stop()
        holds = [h.result for h in table.store.list_holds(None, newest_first=False)]
        sessions = table.store.list_sessions()
    assert len(holds) >= 2
    assert "record_ends_in_hold" in holds[0].flags
    assert holds[0].duration_s >= 5.0
    assert [s for s in sessions if s.interrupted]
    assert not [s for s in sessions if s.ended_utc_ns is None]


def test_a_killed_process_leaves_a_session_that_is_rebuilt_and_marked(tmp_path: Path) -> None:
    data = tmp_path / "data"
    command = [sys.executable, "-m", "monitor.cli", "demo", "--data", str(data), "--page-port", "0", "--speed", "8"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if line.startswith("Live page:"):
                break
        # The journal grows while somebody is there; after 12 s of the demo's time the first hold is under way.
        folder = DataFolder(data)
        _wait_until(lambda: sum(p.stat().st_size for p in folder.journals.rglob("*.journal")) > 80 * 30 * 15)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
    folder = DataFolder.open(data)
    with open_store(folder.database) as store:
        unfinished = store.unfinished_sessions()
        assert len(unfinished) == 1
    with open_source(SourceConfig("none"), folder) as nothing, assemble(nothing, folder) as station:
        station.service.start()
        station.service.stop()
        store = station.store
        assert store.unfinished_sessions() == []
        session = store.get_session(unfinished[0].uid)
        assert session is not None
        assert session.interrupted
        holds = store.holds_of_session(unfinished[0].uid)
    assert holds
    assert all(INTERRUPTED in h.result.flags for h in holds)
    assert holds[0].result.duration_s > 1.0


def _wait_until(condition: Callable[[], bool]) -> None:
    """Poll the file system of another process: it offers no event to wait for."""
    done = threading.Event()
    for _ in range(int(WAIT_S / 0.05)):
        if condition():
            return
        done.wait(0.05)
    pytest.fail("it never happened")
