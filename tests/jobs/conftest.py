"""A hall with somebody whose hold has a real journal, for the tests of long work."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

sys.path += [str(Path(__file__).parents[1] / name) for name in ("pipeline", "store", "dashboard")]

from journals_by_hand import write_journal
from load_stories import RIG, TWO_SESSIONS, loads

from monitor.analysis import analyse_file
from monitor.newtons.calibration import calibration_to_dict
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.person import Person
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, Store, hold_uid, open_store

START_ns = 1_760_000_000 * 10**9


@dataclass
class Hall:
    """A data folder with Mara, one session of hers, and a guest's stay without a journal."""

    folder: DataFolder
    store: Store
    person_uid: str
    holds: list[str]


def filled(store: Store, folder: DataFolder) -> Hall:
    """Keep Mara's stay with its journal, and a guest's hold."""
    person = store.people.save(Person("", "Mara T."))
    place = folder.new_journal("session", START_ns)
    calibration = write_journal(place, RIG, loads(TWO_SESSIONS)[1])
    outcome = analyse_file(place).result.holds
    store.begin_session(
        START_ns, rig_to_dict(RIG), calibration_to_dict(calibration), uid="session", person_uid=person.uid
    )
    store.begin_session(START_ns, rig_to_dict(RIG), uid="guest")
    uids = []
    for number, hold in enumerate(outcome, start=1):
        uids.append(hold_uid("session", number))
        store.save_hold(StoredHold(uids[-1], "session", number, START_ns, 700.0, 0.5, hold, MEASUREMENT_VERSION))
    uids.append(hold_uid("guest", 1))
    store.save_hold(StoredHold(uids[-1], "guest", 1, START_ns, 700.0, 0.5, outcome[0], MEASUREMENT_VERSION))
    for uid in ("session", "guest"):
        store.end_session(uid, START_ns + 10**11)
    return Hall(folder, store, person.uid, uids)


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory):
    folder = DataFolder.open(tmp_path_factory.mktemp("hall"))
    with open_store(folder.database) as store:
        yield filled(store, folder)
