"""Every change of a session's holds and markers is in the audit log with who, what and on which."""

from __future__ import annotations

import pytest
from store_samples import RIG, START_utc_ns, sample_hold

from monitor.store import Store, UnknownMarker, open_store

SESSION = "session-1"


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as opened:
        opened.begin_session(START_utc_ns, RIG, uid=SESSION)
        opened.save_hold(sample_hold(SESSION))
        yield opened


def entries(store: Store) -> list[tuple[str, str, str]]:
    return [(entry.who, entry.what, entry.subject) for entry in reversed(store.audit.recent())]


def test_a_correction_and_its_undoing_are_audited(store):
    uid = f"{SESSION}-001"
    made = store.corrections.make(uid, "retag", {"kind": "active"}, reason="watched it", made_by="M.")
    store.corrections.undo(made.id, "N.")
    subject = f"{uid} #{made.id}"
    assert entries(store) == [("M.", "correction made: retag", subject), ("N.", "correction undone", subject)]


def test_a_marker_taken_back_and_put_back_is_audited(store):
    made = store.markers.add(SESSION, "note", 20.0, text="left hand opens first", made_by="M.")
    store.markers.remove(made.id, "N.")
    store.markers.restore(made.id, "O.")
    subject = f"{SESSION} #{made.id}"
    assert entries(store) == [("N.", "marker taken back", subject), ("O.", "marker put back", subject)]


def test_a_change_that_fails_leaves_no_entry(store):
    made = store.markers.add(SESSION, "note", 20.0, made_by="M.")
    with pytest.raises(UnknownMarker):
        store.markers.restore(made.id, "N.")
    assert entries(store) == []


def test_pages_of_the_log_follow_each_other_without_overlap(store):
    for number in range(5):
        store.audit.add("M.", f"change {number}")
    newest = store.audit.recent(2)
    older = store.audit.recent(10, before_id=newest[-1].id)
    assert [entry.what for entry in newest + older] == [f"change {number}" for number in (4, 3, 2, 1, 0)]
