"""A coach over a real store, without a rig: for pages that read and change what is kept."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from fake_rig import NAMES, FakeStore, full_hold, made_up_holds
from numpy.typing import NDArray

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.records.person import Person
from monitor.records.stored_hold import StoredHold
from monitor.store import HoldFilter, HoldOrder, Store

sys.path.append(str(Path(__file__).parents[1] / "store"))
from store_samples import RIG as STORED_RIG

NOW_UTC_ns = full_hold().onset_utc_ns + 3600 * 10**9
CALIBRATION = {
    "id": "cal-7",
    "channels": [
        {"channel": name, "zero_counts": 1000.0, "N_per_count": 0.001, "zero_at": "2025-11-24T08:00:00Z",
         "span_at": "2025-10-20T10:00:00Z", "u_rel_span": 0.0008}
        for name in NAMES
    ],
}  # fmt: skip


class StoredReader(FakeStore):
    """Holds of a real store; curves of the made-up scene."""

    def __init__(self, store: Store) -> None:
        super().__init__([])
        self.store = store

    def list_holds(self, limit: int, offset: int) -> Sequence[StoredHold]:
        return self.store.list_holds(limit, offset)

    def find_holds(
        self, wanted: HoldFilter, limit: int, offset: int, order: HoldOrder = "newest"
    ) -> tuple[Sequence[StoredHold], int]:
        return self.store.find_holds(wanted, limit, offset, order)

    def count_holds(self) -> int:
        return self.store.count_holds()

    def get_hold(self, uid: str) -> StoredHold | None:
        return self.store.get_hold(uid)

    def hold_curve(self, uid: str) -> tuple[NDArray[np.float64], Sequence[str], NDArray[np.float64]] | None:
        return super().hold_curve("full")


class FakeCoach:
    """A service without a rig: the desk over a store, at a given time."""

    def __init__(self, store: Store, now_utc_ns: int = NOW_UTC_ns) -> None:
        self.coaching = CoachingService(store, lambda: now_utc_ns)
        self.live = LiveCoaching()
        self.bar = BarPanel(self.coaching, self.live)
        self.person_uid: str | None = None
        self.running: tuple[str, float] | None = None

    def running_session(self) -> tuple[str, float] | None:
        return self.running

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        if uid is not None:
            self.coaching.person(uid)
        self.person_uid = uid
        self.bar.set_person(uid, by_hand=True)
        self.bar.prepare(item)


def fill(store: Store, count: int = 7) -> tuple[str, list[StoredHold]]:
    """Keep somebody with the full hold and a few plain ones, newest first; return their uid and the holds."""
    person = store.people.save(Person("", "Mara T.", stature_m=1.68, time_zone="Europe/Vienna"))
    stored = []
    for number, hold in enumerate(reversed([full_hold(), *made_up_holds(count)]), start=1):
        session_uid = store.begin_session(
            hold.onset_utc_ns - 10**10, STORED_RIG, CALIBRATION, uid=f"session-{number:03d}", person_uid=person.uid
        )
        store.end_session(session_uid, hold.onset_utc_ns + 10**11)
        stored.append(
            store.save_hold(dataclasses.replace(hold, session_uid=session_uid, uid=f"{session_uid}-001", number=1))
        )
    return person.uid, stored[::-1]
