"""Who hangs: stays and holds are theirs, the running hold is advised on, a fault of the advice ends no measuring."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

import pytest
from table_rig import LONG_FRAME, TableRig, table_rig

from firmware_bridge.sources import SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.coaching.live.live_advice import LiveAdvice
from monitor.demo import DemoRig
from monitor.exports.erasure import erase_everywhere
from monitor.pipeline import Output, SessionMeasured
from monitor.service import PersonLeaves
from monitor.store import UnknownPerson

SPEED = 40.0
WAIT_S = 300.0


class _Pauses:
    """Lets the pipeline run from one moment of the session to another, so that what a test does is never late.

    It stands at its first event, and where ``until`` has sent it: ``hung`` when a hold of some seconds runs, ``over``
    when the session has been measured for good.
    """

    def __init__(self, table: TableRig) -> None:
        self.table = table
        self.advice: list[LiveAdvice] = []
        self.reached: set[str] = set()
        self._wanted = "begun"
        self._turn = threading.Condition()
        watched = table.observe

        def observe(event: SourceEvent, out: Output) -> None:
            watched(event, out)
            self.advice.append(table.service.live.now())
            moments = {"begun"}
            if any(p.hold is not None and not p.hold.ended and p.hold.time_s > 4.0 for p in out.pictures):
                moments.add("hung")
            if any(isinstance(e, SessionMeasured) and e.final for e in out.events):
                moments.add("over")
            with self._turn:
                self.reached |= moments
                self._turn.notify_all()
                while self._wanted in moments:
                    self._turn.wait()

        table.observe = observe  # type: ignore[method-assign]

    def go_on(self, moment: str = "") -> None:
        with self._turn:
            self._wanted = moment
            self._turn.notify_all()

    def until(self, moment: str) -> None:
        self.go_on(moment)
        with self._turn:
            assert self._turn.wait_for(lambda: moment in self.reached, WAIT_S)
        self.table.service.settle()


@pytest.fixture
def rig(tmp_path: Path):
    """One session of an invented person; nothing of it is measured yet."""
    invented = DemoRig(seed=5, sessions=1)
    board = VirtualBoard(
        invented.conversions,
        channels=len(invented.rig.channels),
        rate_Hz=invented.rig.nominal_rate_Hz,
        speed=SPEED,
        samples_per_frame=LONG_FRAME,
        link=tmp_path / "board",
    )
    pauses: list[_Pauses] = []
    with table_rig(
        tmp_path / "data",
        board,
        invented.rig,
        invented.calibration,
        speed=SPEED,
        watched_by=lambda table: pauses.append(_Pauses(table)),
    ) as table:
        try:
            yield table, pauses[0]
        finally:
            pauses[0].go_on()


def test_a_persons_session_is_theirs_and_their_hold_is_advised_on(rig: tuple[TableRig, _Pauses]) -> None:
    table, pauses = rig
    anna = table.service.coaching.add_person("Anna K.")
    table.service.set_person(anna.uid, "assisted")
    table.service.settle()
    advice = table.service.live.now()
    assert (advice.person_uid, advice.item, advice.target_s) == (anna.uid, "assisted", 30.0)
    pauses.until("over")
    (session, *_) = table.store.list_sessions(newest_first=False)
    holds = table.store.holds_of_session(session.uid)
    assert session.person_uid == anna.uid
    assert holds
    assert {(h.person_uid, h.target_s) for h in holds} == {(anna.uid, 30.0)}
    running = [a for a in pauses.advice if a.reserve is not None]
    assert running, "no advice came while the hold ran"
    assert all(0.0 <= a.reserve.used.value <= 1.0 for a in running)
    assert table.service.coaching.posterior(anna.uid).efforts == len([h for h in holds if h.result.duration_s >= 3.0])


def test_a_tap_in_mid_hold_gives_the_session_to_the_new_person(rig: tuple[TableRig, _Pauses]) -> None:
    table, pauses = rig
    first, second = (table.service.coaching.add_person(name) for name in ("A.", "B."))
    table.service.set_person(first.uid)
    pauses.until("hung")
    table.service.set_person(second.uid)
    assert table.service.person_uid == second.uid
    pauses.until("over")
    (session, *_) = table.store.list_sessions(newest_first=False)
    assert session.person_uid == second.uid
    assert {h.person_uid for h in table.store.holds_of_session(session.uid)} == {second.uid}


def test_a_guest_needs_no_record_and_an_unknown_person_is_refused(rig: tuple[TableRig, _Pauses]) -> None:
    table, pauses = rig
    with pytest.raises(UnknownPerson):
        table.service.set_person("p-none")
    assert table.service.person_uid is None
    pauses.until("over")
    (session, *_) = table.store.list_sessions(newest_first=False)
    assert session.person_uid is None
    assert {h.target_s for h in table.store.holds_of_session(session.uid)} == {None}


def test_a_fault_of_the_advice_does_not_end_the_measuring(
    rig: tuple[TableRig, _Pauses], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    table, pauses = rig

    def broken(picture: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(table.service.live, "take", broken)
    with caplog.at_level(logging.ERROR):
        pauses.until("over")
    assert table.store.count_holds() >= 1
    assert caplog.text.count("advice on the running hold") == 1, "a fault at every picture is logged once"


def test_erasing_a_person_in_mid_hold_leaves_no_journal_and_no_guest(rig: tuple[TableRig, _Pauses]) -> None:
    """The session in progress is waited for and goes with the rest; the next one is a guest's."""
    table, pauses = rig
    anna, bert = (table.service.coaching.add_person(name).uid for name in ("Anna K.", "B."))
    table.service.set_person(anna)
    pauses.until("hung")
    polled: list[bool] = []

    def give_up() -> bool:
        if not polled:
            # Meanwhile nobody can bring them back, and naming somebody else leaves the session theirs.
            with pytest.raises(PersonLeaves):
                table.service.set_person(anna)
            table.service.set_person(bert)
            running = table.service.running_session()
            assert running is not None
            assert table.store.get_session(running[0]).person_uid == anna
            pauses.go_on("over")
        polled.append(True)
        return False

    with table.service.let_go(anna, give_up):
        (session, *_) = table.store.list_sessions(newest_first=False)
        assert (session.person_uid, session.ended_utc_ns is None) == (anna, False), (
            "the session in progress was waited for"
        )
        journal = table.folder.journal(session.journal)
        assert journal.exists()
        receipt = erase_everywhere(table.store, table.folder, anna)
    assert receipt["journals_erased"] == [session.journal]
    assert receipt["left_over"] == []
    assert table.store.get_session(session.uid) is None
    assert not journal.exists()
    assert table.service.person_uid == bert
    assert table.service.health()["warnings"] == []
