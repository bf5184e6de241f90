"""Who hangs: stays and holds are theirs, the running hold is advised on, a fault of the advice ends no measuring."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

import pytest
from table_rig import TableRig, table_rig

from firmware_bridge.sources import SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.coaching.live import LiveAdvice
from monitor.demo import DemoRig
from monitor.exports.erasure import erase_everywhere
from monitor.pipeline import Output, StayMeasured
from monitor.service import PersonLeaves
from monitor.store import UnknownPerson

SPEED = 12.0
WAIT_S = 60.0


class _Watch:
    """Sets ``hung`` when a hold of some seconds runs, ``done`` when a stay has been measured for good."""

    def __init__(self, table: TableRig) -> None:
        self.hung, self.done = threading.Event(), threading.Event()
        self.advice: list[LiveAdvice] = []
        watched = table.observe

        def observe(event: SourceEvent, out: Output) -> None:
            watched(event, out)
            self.advice.append(table.service.live.now())
            if any(p.hold is not None and not p.hold.ended and p.hold.time_s > 4.0 for p in out.pictures):
                self.hung.set()
            if any(isinstance(e, StayMeasured) and e.final for e in out.events):
                self.done.set()

        table.observe = observe  # type: ignore[method-assign]


@pytest.fixture
def demo(tmp_path: Path):
    invented = DemoRig(seed=5)
    board = VirtualBoard(
        invented.conversions,
        channels=len(invented.rig.channels),
        rate_Hz=invented.rig.nominal_rate_Hz,
        speed=SPEED,
        link=tmp_path / "board",
    )
    with table_rig(tmp_path / "data", board, invented.rig, invented.calibration, speed=SPEED) as table:
        yield table


def test_a_persons_stay_is_theirs_and_their_hold_is_advised_on(demo: TableRig) -> None:
    watch = _Watch(demo)
    anna = demo.service.desk.add_person("Anna K.")
    demo.service.set_person(anna.uid, "assisted")
    demo.service.settle()
    asked = demo.service.live.now()
    assert (asked.person_uid, asked.item, asked.target_s) == (anna.uid, "assisted", 30.0)
    assert watch.done.wait(WAIT_S)
    demo.service.settle()
    demo.service.stop()
    (stay, *_) = demo.store.list_stays(newest_first=False)
    holds = demo.store.holds_of_stay(stay.uid)
    assert stay.person_uid == anna.uid
    assert holds
    assert {(h.person_uid, h.target_s) for h in holds} == {(anna.uid, 30.0)}
    running = [a for a in watch.advice if a.reserve is not None]
    assert running, "no advice came while the hold ran"
    assert all(0.0 <= a.reserve.used.value <= 1.0 for a in running)
    assert demo.service.desk.posterior(anna.uid).bouts == len([h for h in holds if h.result.duration_s >= 3.0])


def test_a_tap_in_mid_hold_gives_the_stay_to_the_new_person(demo: TableRig) -> None:
    watch = _Watch(demo)
    first, second = (demo.service.desk.add_person(name) for name in ("A.", "B."))
    demo.service.set_person(first.uid)
    assert watch.hung.wait(WAIT_S)
    demo.service.set_person(second.uid)
    assert demo.service.person_uid == second.uid
    assert watch.done.wait(WAIT_S)
    demo.service.settle()
    (stay, *_) = demo.store.list_stays(newest_first=False)
    assert stay.person_uid == second.uid
    assert {h.person_uid for h in demo.store.holds_of_stay(stay.uid)} == {second.uid}


def test_a_guest_needs_no_record_and_a_stranger_is_told(demo: TableRig) -> None:
    watch = _Watch(demo)
    with pytest.raises(UnknownPerson):
        demo.service.set_person("p-none")
    assert demo.service.person_uid is None
    assert watch.done.wait(WAIT_S)
    demo.service.settle()
    (stay, *_) = demo.store.list_stays(newest_first=False)
    assert stay.person_uid is None
    assert {h.target_s for h in demo.store.holds_of_stay(stay.uid)} == {None}


def test_a_fault_of_the_advice_ends_no_measuring(
    demo: TableRig, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    watch = _Watch(demo)

    def broken(picture: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(demo.service.live, "see", broken)
    with caplog.at_level(logging.ERROR):
        assert watch.done.wait(WAIT_S)
    demo.service.settle()
    assert demo.store.count_holds() >= 1
    assert "advice on the running hold" in caplog.text


def test_who_is_erased_in_mid_hold_leaves_no_journal_and_no_guest_behind(demo: TableRig) -> None:
    """The stay in progress is waited for and goes with the rest; the next one is a guest's."""
    watch = _Watch(demo)
    anna, bert = (demo.service.desk.add_person(name).uid for name in ("Anna K.", "B."))
    demo.service.set_person(anna)
    assert watch.hung.wait(WAIT_S)
    asked: list[bool] = []

    def give_up() -> bool:
        if not asked:
            # Meanwhile nobody can bring them back, and naming somebody else leaves the stay theirs.
            with pytest.raises(PersonLeaves):
                demo.service.set_person(anna)
            demo.service.set_person(bert)
            running = demo.service.running_stay()
            assert running is not None
            assert demo.store.get_stay(running[0]).person_uid == anna
        asked.append(True)
        return False

    with demo.service.let_go(anna, give_up):
        assert watch.done.is_set(), "the stay in progress was waited for"
        (stay, *_) = demo.store.list_stays(newest_first=False)
        assert (stay.person_uid, stay.ended_utc_ns is None) == (anna, False)
        journal = demo.folder.journal(stay.journal)
        assert journal.exists()
        receipt = erase_everywhere(demo.store, demo.folder, anna)
    assert receipt["journals_erased"] == [stay.journal]
    assert receipt["left_over"] == []
    assert demo.store.get_stay(stay.uid) is None
    assert not journal.exists()
    assert demo.service.person_uid == bert
    assert demo.service.health()["warnings"] == []
