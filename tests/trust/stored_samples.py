"""A data folder as a hall fills it: stays with real journals, their holds, people, corrections, settings."""

from __future__ import annotations

import dataclasses
import functools
import tempfile
from pathlib import Path

from blank import blank_database
from journals_by_hand import calibration_of, write_journal
from load_stories import RIG, TWO_SESSIONS, loads

from monitor.analysis import Analysis, analyse_file
from monitor.newtons.calibration import calibration_to_dict
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.person import Person
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, Store, hold_uid, open_store

START_NS = 1_760_000_000_000_000_000  # 2025-10-09T08:53:20Z
DAY_NS = 86_400 * 10**9


@functools.cache
def journal_bytes() -> bytes:
    """Return a journal with two holds on the bar (8.0 + x s with a regrip, and 5 s assisted)."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.journal"
        write_journal(path, RIG, loads(TWO_SESSIONS)[1])
        return path.read_bytes()


@functools.cache
def analysis() -> Analysis:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.journal"
        path.write_bytes(journal_bytes())
        return analyse_file(path)


def uid_at(number: int) -> str:
    from monitor.store.files.folder import _utc

    return f"{_utc(START_NS + number * DAY_NS):%Y%m%dT%H%M%SZ}-{number:08x}"


def add_session(store: Store, folder: DataFolder, number: int, *, in_database: bool = True, ended: bool = True) -> str:
    """Add a session of day ``number`` with its journal and two holds."""
    uid, at_ns = uid_at(number), START_NS + number * DAY_NS
    path = folder.new_journal(uid, at_ns)
    path.touch(0o600)
    path.write_bytes(journal_bytes())
    if not in_database:
        return uid
    store.begin_session(at_ns, rig_to_dict(RIG), calibration_to_dict(calibration_of(RIG)), uid=uid)
    if ended:
        for place, result in enumerate(analysis().result.holds, start=1):
            hold = StoredHold(
                hold_uid(uid, place), uid, place, at_ns + place * 10**10, 700.0, 0.6, result, MEASUREMENT_VERSION
            )
            store.save_hold(hold)
        store.end_session(uid, at_ns + 40 * 10**9)
    return uid


def filled(root: Path, sessions: int = 3) -> DataFolder:
    folder = DataFolder.open(root)
    with open_store(blank_database(folder.database)) as store:
        person = store.people.save(Person("", "A. B."))
        for number in range(sessions):
            uid = add_session(store, folder, number)
            if number % 5 == 0:
                store.people.assign_session(uid, person.uid)
                store.corrections.make(hold_uid(uid, 1), "retag", {"kind": "active"}, reason="seen", made_by="C. D.")
        store.set_setting("given", {"alpha_max": 0.2, "bodyweight_N": None})
    return folder


def holds_of(folder: DataFolder) -> dict[str, StoredHold]:
    with open_store(folder.database) as store:
        return {hold.uid: hold for hold in store.list_holds(None)}


def alike(one: StoredHold, other: StoredHold) -> bool:
    """Say whether two rows tell the same hold: times to a millisecond, shares to a thousandth."""
    a, b = dataclasses.asdict(one.result), dataclasses.asdict(other.result)
    return (
        abs(a["duration_s"] - b["duration_s"]) < 1e-3
        and abs(a["onset_s"] - b["onset_s"]) < 1e-3
        and abs((a["alpha_mean"] or 0) - (b["alpha_mean"] or 0)) < 1e-3
        and one.number == other.number
    )
