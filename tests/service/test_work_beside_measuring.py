"""A procedure at the rig beside the running service: no hold is stored, and what is accepted is in force at once."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from queue import SimpleQueue

import numpy as np
import pytest

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import HostClock, LinkState, SourceEvent
from monitor.newtons.calibration import Calibration, ChannelCalibration, latest_calibration
from monitor.procedures.procedure_manager import ProcedureUnderWay, RigInUse
from monitor.rig import Channel, Rig
from monitor.station.sources import RigSource
from monitor.station.station import assemble
from monitor.store import DataFolder

RIG = Rig("one hook", (Channel("hook", "bar", rated_N=3000.0),), mount_rating_N=3000.0)
PER_COUNT, ZERO, RATE_Hz = 1e-3, 5000.0, 80.0
CALIBRATION = Calibration((ChannelCalibration("hook", ZERO, PER_COUNT, 10.0, 1e-3),), "first")


class FedSource:
    """A source that sends what a test gives it; ``give`` returns when the service has taken it."""

    def __init__(self) -> None:
        self._queue: SimpleQueue[SourceEvent | None] = SimpleQueue()
        self._taken = threading.Semaphore(0)
        self._given = 0
        self._rng = np.random.default_rng(3)

    def events(self) -> Iterator[SourceEvent]:
        while (event := self._queue.get()) is not None:
            yield event
            self._taken.release()  # the pipeline asks for the next one: this one is done

    def close(self) -> None:
        self._queue.put(None)

    def send(self, event: SourceEvent) -> None:
        self._queue.put(event)
        assert self._taken.acquire(timeout=60)

    def give(self, load_N: float, seconds: float) -> None:
        for _ in range(round(seconds)):
            n = round(RATE_Hz)
            t_s = (self._given + 1 + np.arange(n)) / RATE_Hz
            self._given += n
            counts = np.rint(ZERO + 300 + (load_N + 0.2 * self._rng.standard_normal(n)) / PER_COUNT).astype(np.int32)
            self.send(CountBlock(0, t_s, counts[:, None]))


@pytest.fixture
def running(tmp_path):
    folder, source = DataFolder.open(tmp_path / "data"), FedSource()
    with assemble(RigSource(source, HostClock(), RIG, CALIBRATION), folder) as station:
        station.service.start()
        source.send(LinkState("connected", 0))
        yield station.service, source, station.store, folder


def test_a_new_zero_is_in_force_for_the_next_hold_and_what_hung_meanwhile_is_no_hold(running):
    service, source, store, folder = running
    source.give(0.0, 4)
    service.procedures.zero("Ann", 5)
    with pytest.raises(ProcedureUnderWay):
        service.procedures.zero("Ben", 5)
    assert "Ann" in service.health()["warnings"][-1]
    source.give(0.0, 6)
    assert service.procedures.state()["acceptable"]
    source.give(600.0, 8)  # somebody hangs in the middle of it
    source.give(0.0, 3)
    accepted = service.procedures.accept("Ann")
    assert accepted.calibration.channels[0].zero_counts == pytest.approx(ZERO + 300, abs=20)
    assert latest_calibration(folder.calibrations, RIG.names) == accepted.calibration
    source.give(0.0, 4)
    source.give(600.0, 8)
    source.give(0.0, 12)
    service.settle()
    sessions = store.list_sessions(10)
    assert [session.calibration["channels"][0]["zero_counts"] for session in sessions] == [
        accepted.calibration.channels[0].zero_counts
    ]
    holds = store.list_holds(10, 0)
    assert len(holds) == 1  # none of the procedure
    assert holds[0].result.duration_s == pytest.approx(8.0, abs=0.1)
    entries = [(entry.who, entry.what) for entry in store.audit.recent()]
    assert ("Ann", "put a new calibration in force (zero)") in entries


def test_no_procedure_begins_while_somebody_hangs_and_their_hold_goes_on(running):
    service, source, store, _ = running
    source.give(0.0, 4)
    source.give(600.0, 4)
    with pytest.raises(RigInUse):
        service.procedures.zero("Ann", 5)
    source.give(600.0, 4)
    source.give(0.0, 12)
    service.settle()
    assert [hold.result.duration_s for hold in store.list_holds(10, 0)] == [pytest.approx(8.0, abs=0.1)]
    source.give(0.0, 15)  # the session ends when the bar has been empty for 12 s
    service.procedures.zero("Ann", 5)
    service.procedures.cancel("Ann")
    assert service.procedures.calibration == CALIBRATION


def test_a_result_does_not_come_into_force_while_somebody_hangs(running):
    service, source, _, folder = running
    source.give(0.0, 4)
    service.procedures.zero("Ann", 5)
    source.give(0.0, 6)
    source.give(600.0, 4)
    with pytest.raises(RigInUse):
        service.procedures.accept("Ann")
    assert list(folder.calibrations.glob("*")) == []
    assert service.procedures.accept("Ann", although_somebody_hangs=True).calibration is not None


def test_a_zero_of_a_loaded_rig_is_refused_in_the_procedure(running):
    service, source, _, _ = running
    source.give(0.0, 4)
    service.procedures.zero("Ann", 5)
    source.give(600.0, 6)
    state = service.procedures.state()
    assert (state["stage"], state["refusal"]["code"]) == ("refused", "rig-not-empty")
    source.give(0.0, 2)
    service.procedures.act("next", 1)
    source.give(0.0, 6)
    assert service.procedures.state()["stage"] == "finished"


def test_an_uncalibrated_rig_says_so_and_measures_nothing(tmp_path):
    folder, source = DataFolder.open(tmp_path / "data"), FedSource()
    with assemble(RigSource(source, HostClock(), RIG), folder) as station:
        service, store = station.service, station.store
        service.start()
        source.give(0.0, 2)
        source.give(600.0, 8)
        source.give(0.0, 12)
        service.settle()
        assert "no calibration" in service.health()["warnings"][0]
        assert store.count_holds() == 0
