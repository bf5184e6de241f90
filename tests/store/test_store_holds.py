"""Sessions, holds and settings go in and come out whole, in order, revised in place."""

from __future__ import annotations

import dataclasses
import threading
from concurrent.futures import wait

import numpy as np
import pytest
from sqlalchemy.exc import IntegrityError
from store_samples import BARE_RESULT, CALIBRATION, FULL_RESULT, RIG, START_utc_ns, sample_hold

from monitor.records.hold_result import HoldResult, Swing
from monitor.store import DatabaseClosed, SessionExists, Store, UnknownSession, open_store
from monitor.store.database.schema import hold as hold_table
from monitor.store.holds.rows import hold_columns


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as opened:
        yield opened


@pytest.fixture
def session_uid(store: Store) -> str:
    return store.begin_session(START_utc_ns, RIG, CALIBRATION)


@pytest.mark.parametrize("result", [FULL_RESULT, BARE_RESULT], ids=["full", "bare"])
def test_a_hold_comes_back_as_it_went_in(store, session_uid, result):
    hold = sample_hold(session_uid, result=result)
    assert store.save_hold(hold) == hold
    assert store.get_hold(hold.uid) == hold
    assert store.list_holds() == [hold]


def test_a_hold_is_there_after_the_store_was_closed(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        session_uid = store.begin_session(START_utc_ns, RIG)
        hold = store.save_hold(sample_hold(session_uid))
    with open_store(str(tmp_path / "holds.sqlite")) as store:
        assert store.list_holds() == [hold]
        assert store.get_session(session_uid).calibration is None


def test_a_revision_keeps_uid_and_creation_and_is_counted(store, session_uid):
    first = store.save_hold(sample_hold(session_uid))
    again = store.save_hold(first)
    better = dataclasses.replace(first, result=dataclasses.replace(FULL_RESULT, duration_s=32.57))
    second = store.save_hold(better)
    third = store.save_hold(dataclasses.replace(better, bodyweight_N=703.0))
    assert (first.revised, again.revised, second.revised, third.revised) == (0, 0, 1, 2)
    moved = store.save_hold(dataclasses.replace(third, onset_utc_ns=third.onset_utc_ns + 5))
    assert (moved.revised, moved.onset_utc_ns) == (2, third.onset_utc_ns + 5), "a better clock revises no number"
    assert store.count_holds() == 1
    assert store.get_hold(first.uid) == moved
    assert store.get_hold(first.uid).result.duration_s == 32.57


def test_a_withdrawn_hold_is_in_no_list_and_can_come_back(store, session_uid):
    hold = store.save_hold(sample_hold(session_uid))
    assert store.withdraw_hold(hold.uid) is True
    assert store.withdraw_hold(hold.uid) is False
    assert store.withdraw_hold("never heard of") is False
    assert store.get_hold(hold.uid) is None
    assert (store.list_holds(), store.holds_of_session(session_uid), store.count_holds()) == ([], [], 0)
    assert store.save_hold(hold) == hold
    assert store.list_holds() == [hold]


def test_lists_run_by_onset_in_pages(store, session_uid):
    holds = [store.save_hold(sample_hold(session_uid, number)) for number in (2, 5, 1, 4, 3)]
    holds.sort(key=lambda h: h.onset_utc_ns)
    assert store.list_holds() == holds[::-1]
    assert store.list_holds(newest_first=False, limit=None) == holds
    assert list(store.each_hold()) == holds
    assert list(store.each_hold(newest_first=True)) == holds[::-1]
    assert store.list_holds(limit=2, offset=1) == [holds[3], holds[2]]
    assert store.list_holds(limit=2, offset=4) == [holds[0]]
    assert store.list_holds(since_utc_ns=holds[1].onset_utc_ns, until_utc_ns=holds[3].onset_utc_ns) == holds[2:0:-1]
    assert [h.number for h in store.holds_of_session(session_uid)] == [1, 2, 3, 4, 5]


def test_a_hold_needs_its_session(store):
    with pytest.raises(UnknownSession):
        store.save_hold(sample_hold("nowhere"))
    assert store.count_holds() == 0


def test_numbers_that_json_cannot_carry_are_kept_as_not_known(store, session_uid):
    swing = Swing(np.float64(1.5), float("nan"), float("inf"), [(np.float32(1.0), None, None)])
    odd = dataclasses.replace(FULL_RESULT, swing=swing, peak_N=np.float64("nan"), grip_changes_s=[np.float64(3.25)])
    stored = store.save_hold(sample_hold(session_uid, result=odd)).result
    assert stored.swing == Swing(1.5, None, None, [(1.0, None, None)])
    assert stored.peak_N is None
    assert stored.grip_changes_s == [3.25]


def test_a_session_begins_and_ends(store):
    uid = store.begin_session(START_utc_ns, RIG, CALIBRATION)
    (open_session,) = store.unfinished_sessions()
    assert (open_session.uid, open_session.ended_utc_ns, open_session.rig, open_session.calibration) == (
        uid,
        None,
        RIG,
        CALIBRATION,
    )
    assert open_session.journal == f"journals/2025/10/{uid}.journal"
    quality = {"samples": 9600, "lost": 3, "spikes": 2, "rate_Hz": 80.02}
    store.end_session(uid, START_utc_ns + 5, clock_rate=1.00002, quality=quality, interrupted=True)
    assert store.unfinished_sessions() == []
    ended = store.get_session(uid)
    assert (ended.ended_utc_ns, ended.clock_rate, ended.quality, ended.interrupted) == (
        START_utc_ns + 5,
        1.00002,
        quality,
        True,
    )
    later = store.begin_session(START_utc_ns + 9, RIG, uid="mine", journal="journals/x.journal")
    assert [s.uid for s in store.list_sessions()] == [later, uid]
    assert store.get_session("mine").journal == "journals/x.journal"
    with pytest.raises(SessionExists):
        store.begin_session(START_utc_ns, RIG, uid="mine")
    with pytest.raises(UnknownSession):
        store.end_session("nowhere", 1)
    assert store.get_session("nowhere") is None


def test_the_same_rig_is_kept_once_and_another_beside_it(store, tmp_path):
    other = {**RIG, "name": "garage"}
    turned = dict(reversed(RIG.items()))
    uids = [store.begin_session(START_utc_ns, rig, CALIBRATION) for rig in (RIG, other, turned)]
    assert [store.get_session(uid).rig["name"] for uid in uids] == ["hall", "garage", "hall"]
    with store._read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM rig").scalar_one() == 2
        assert connection.exec_driver_sql("SELECT dated FROM calibration").all() == [("2025-10-09",)]


def test_settings_are_kept_and_replaced(store):
    assert store.get_setting("unit") is None
    assert store.get_setting("unit", "N") == "N"
    store.set_setting("unit", "kgf")
    store.set_setting("limits", {"alpha": 0.1, "names": ["a", None]})
    store.set_setting("unit", "lbf")
    assert store.get_setting("unit") == "lbf"
    assert store.all_settings() == {"limits": {"alpha": 0.1, "names": ["a", None]}, "unit": "lbf"}


def test_a_failed_write_reaches_its_caller_only_and_leaves_nothing(store, session_uid):
    def half(connection):
        connection.exec_driver_sql("INSERT INTO setting VALUES ('half', '1', 0)")
        raise ZeroDivisionError

    jobs = [store._writer.submit(half)]
    jobs.append(store.save_hold_later(sample_hold(session_uid)))
    wait(jobs)
    assert isinstance(jobs[0].exception(), ZeroDivisionError)
    assert jobs[1].result() == sample_hold(session_uid)
    assert store.get_setting("half") is None


def test_the_databases_own_refusal_is_told(store):
    job = store._writer.submit(lambda c: c.exec_driver_sql("INSERT INTO setting VALUES (NULL, '1', 0)"))
    error = job.exception()
    assert error.code == "database-not-written"
    assert isinstance(error.__cause__, IntegrityError)


def test_many_threads_write_and_read_at_once(store, session_uid):
    observed: list[int] = []

    def writes(start: int) -> None:
        for number in range(start, start + 10):
            store.save_hold(sample_hold(session_uid, number))
            observed.append(store.count_holds())

    threads = [threading.Thread(target=writes, args=(1 + 10 * k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(observed) == 40
    assert store.count_holds() == max(observed) == 40
    assert [h.number for h in store.list_holds(limit=None, newest_first=False)] == list(range(1, 41))


def test_what_was_queued_is_written_before_the_store_closes(tmp_path):
    store = open_store(tmp_path / "holds.sqlite")
    session_uid = store.begin_session(START_utc_ns, RIG)
    jobs = [store.save_hold_later(sample_hold(session_uid, number)) for number in range(1, 31)]
    store.close()
    store.close()
    assert all(job.done() and job.exception() is None for job in jobs)
    with pytest.raises(DatabaseClosed):
        store.save_hold(sample_hold(session_uid))
    with pytest.raises(DatabaseClosed):
        store.list_holds()
    with open_store(tmp_path / "holds.sqlite") as again:
        assert again.count_holds() == 30


def test_thousands_of_holds_are_listed(store, session_uid):
    """What lists cost over ten years is measured in tests/bench/years.py."""

    def fill(connection):
        first = sample_hold(session_uid)
        columns = {**hold_columns(first), "session_id": 1, "revised": 0, "created_utc_ns": 0, "changed_utc_ns": 0}
        connection.execute(
            hold_table.insert(),
            [{**columns, "uid": f"h{k:05d}", "onset_utc_ns": START_utc_ns + k} for k in range(2_000)],
        )

    store._writer.submit(fill).result()
    assert [hold.uid for hold in store.list_holds()] == [f"h{k:05d}" for k in range(1_999, 1_949, -1)]
    assert [hold.uid for hold in store.list_holds(offset=1_900)] == [f"h{k:05d}" for k in range(99, 49, -1)]
    every = store.list_holds(limit=None)
    assert [hold.uid for hold in every] == [f"h{k:05d}" for k in range(1_999, -1, -1)]
    assert store.count_holds() == 2_000
    assert all(isinstance(hold.result, HoldResult) for hold in every)


def test_lists_use_the_index(store):
    with store._read() as connection:
        plan = connection.exec_driver_sql(
            "EXPLAIN QUERY PLAN SELECT * FROM hold WHERE withdrawn_utc_ns IS NULL "
            "ORDER BY onset_utc_ns DESC, uid DESC LIMIT 50"
        ).all()
    assert "ix_hold_onset_utc_ns_uid" in str(plan)
    assert "TEMP B-TREE" not in str(plan)
