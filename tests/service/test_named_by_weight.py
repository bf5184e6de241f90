"""Whoever steps on is named by weight over the whole rig: board, pipeline, session and holds in the database.

The invented people stand for four seconds before they reach up: too short to be weighed and to confirm a name, so
their first hold begins as a guest's, and their stance after it gives the session to its owner.
"""

from __future__ import annotations

import dataclasses
import sys
import threading
import time
from pathlib import Path

import pytest
from table_rig import LONG_FRAME, TableRig, table_rig

from firmware_bridge.sources import SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.demo import DemoRig
from monitor.demo.people import INVENTED_PEOPLE
from monitor.pipeline import Output, SessionMeasured
from monitor.store import DataFolder, Store, open_store

sys.path.append(str(Path(__file__).parents[1] / "store"))
from store_samples import CALIBRATION, RIG, sample_hold

SPEED = 12.0
WAIT_S = 90.0


@pytest.fixture
def demo(tmp_path: Path):
    """Two invented people come to a rig whose queue for today holds the first of them, and somebody lighter."""
    invented = DemoRig(seed=5, sessions=2)
    board = VirtualBoard(
        invented.conversions,
        channels=len(invented.rig.channels),
        rate_Hz=invented.rig.nominal_rate_Hz,
        speed=SPEED,
        samples_per_frame=LONG_FRAME,
        link=tmp_path / "board",
    )
    first_N = INVENTED_PEOPLE[0].weight_N
    assert abs(INVENTED_PEOPLE[1].weight_N / first_N - 1) > 0.1
    with open_store(DataFolder.open(tmp_path / "data").database) as store:
        first, light = weighed(store, "first", first_N), weighed(store, "light", 0.7 * first_N)
        coaching = CoachingService(store)
        BarPanel(coaching, LiveCoaching()).set_queue([light, first])
    with table_rig(tmp_path / "data", board, invented.rig, invented.calibration, speed=SPEED) as table:
        yield table, first


def weighed(store: Store, name: str, weight_N: float) -> str:
    """Keep somebody with a hold of an hour ago that tells their weight; return their uid."""
    uid = CoachingService(store).add_person(name).uid
    onset_ns = time.time_ns() - 3600 * 10**9
    session = store.begin_session(onset_ns, RIG, CALIBRATION, uid=f"session-{name}", person_uid=uid)
    store.end_session(session, onset_ns + 10**11)
    hold = sample_hold(session, onset_utc_ns=onset_ns, bodyweight_N=weight_N, bodyweight_u_N=1.0)
    result = dataclasses.replace(hold.result, flags=[])
    store.save_hold(dataclasses.replace(hold, uid=f"{session}-001", number=1, result=result))
    return uid


def test_a_person_is_recognised_and_the_next_one_does_not_inherit_the_name(demo: tuple[TableRig, str]) -> None:
    table, first = demo
    over = threading.Semaphore(0)
    watched = table.observe

    def observe(event: SourceEvent, out: Output) -> None:
        watched(event, out)
        for one in out.events:
            if isinstance(one, SessionMeasured) and one.final:
                over.release()

    table.observe = observe  # type: ignore[method-assign]
    for _ in range(2):
        assert over.acquire(timeout=WAIT_S)
    table.service.settle()
    table.service.stop()
    sessions = [
        session for session in table.store.list_sessions(newest_first=False) if not session.uid.startswith("session-")
    ]
    owners = [session.person_uid for session in sessions]
    assert owners[0] == first, "named while standing after the first hold"
    assert owners[1] is None, "nobody of the queue weighs that: a guest, not who was here before"
    holds = table.store.holds_of_session(sessions[0].uid)
    assert len(holds) == 2
    assert {hold.person_uid for hold in holds} == {first}
