"""A database of an earlier revision, written by the program of then, opens with everything in it."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from store_samples import BARE_RESULT, CALIBRATION, FULL_RESULT, RIG, START_utc_ns, sample_hold

from monitor.records.person import Person
from monitor.store import open_store
from monitor.store.database.schema import metadata

OLD = Path(__file__).parent / "old"
SESSION = "20251009T085320Z-0badcafe"


@pytest.fixture
def store(tmp_path):
    path = tmp_path / "hang-monitor.sqlite"
    shutil.copy(OLD / "revision_0001.sqlite", path)
    with open_store(path) as opened:
        yield opened


def test_an_old_file_has_the_tables_of_a_new_one(store):
    with store._read() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def test_what_a_coach_had_entered_before_the_audit_is_there_and_changes_are_audited_from_now_on(tmp_path):
    path = tmp_path / "hang-monitor.sqlite"
    shutil.copy(OLD / "revision_0002.sqlite", path)
    with open_store(path) as store:
        with store._read() as connection:
            assert compare_metadata(MigrationContext.configure(connection), metadata) == []
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        (person,) = store.people.everybody()
        assert (person.name, [h.note for h in store.people.manual_hangs(person.uid)]) == ("A. B.", ["on a branch"])
        corrected = store.get_hold(sample_hold(SESSION, 1).uid)
        assert (corrected.result.kind, corrected.person_uid) == ("active", person.uid)
        (made,) = store.corrections.of_hold(corrected.uid)
        assert (made.reason, made.made_by) == ("seen from the side", "C. D.")
        assert store.audit.recent() == []
        store.corrections.undo(made.id, undone_by="E. F.")
        (entry,) = store.audit.recent()
        assert (entry.who, entry.what, entry.subject) == ("E. F.", "correction undone", f"{corrected.uid} #{made.id}")


def test_what_was_in_an_old_file_is_there(store):
    then = {"measurement_version": 1}
    first = dataclasses.replace(sample_hold(SESSION, 1), bodyweight_N=703.0, revised=1, **then)
    second = dataclasses.replace(sample_hold(SESSION, 2, result=BARE_RESULT), **then)
    assert store.list_holds(newest_first=False) == [first, second]
    assert store.get_hold(sample_hold(SESSION, 3).uid) is None, "it was withdrawn before"
    assert store.get_hold(first.uid).result == FULL_RESULT
    stored = store.get_session(SESSION)
    assert (stored.rig, stored.calibration, stored.clock_rate, stored.person_uid) == (RIG, CALIBRATION, 1.00002, None)
    assert [s.uid for s in store.unfinished_sessions()] == ["20251009T091000Z-0badbeef"]
    assert store.get_setting("given") == {"alpha_max": 0.2, "bodyweight_N": None}


def test_an_old_file_takes_everything_new(store):
    person = store.people.save(Person("", "A. B."))
    store.people.assign_session(SESSION, person.uid)
    assert {h.person_uid for h in store.holds_of_session(SESSION)} == {person.uid}
    made = store.corrections.make(sample_hold(SESSION, 1).uid, "retag", {"kind": "active"}, reason="seen")
    assert store.get_hold(sample_hold(SESSION, 1).uid).result.kind == "active"
    store.corrections.undo(made.id)
    assert store.get_hold(sample_hold(SESSION, 1).uid).result.kind == "passive"
    assert store.save_hold(sample_hold(SESSION, 4)).person_uid == person.uid
    later = store.begin_session(START_utc_ns + 10**13, RIG, person_uid=person.uid)
    assert store.get_session(later).person_uid == person.uid
