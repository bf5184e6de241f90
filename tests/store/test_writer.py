"""The one queue in front of the database: order, refusals that are waited out, and those that are final."""

from __future__ import annotations

import threading

import pytest
import sqlalchemy
from sqlalchemy.exc import IntegrityError
from store_samples import RIG, START_utc_ns, sample_hold

from monitor.store import DatabaseNotWritten, UnknownSession, open_store
from monitor.store.database import writer

SESSION = "20251009T085320Z-0badcafe"


class Disk:
    """Makes the store's writing connection read-only, as a disk does that is found damaged."""

    def __init__(self, store) -> None:
        self.read_only = False
        self.refused = threading.Semaphore(0)
        sqlalchemy.event.listen(store._engines[0], "checkout", self._checkout)
        sqlalchemy.event.listen(store._engines[0], "handle_error", lambda _context: self.refused.release())

    def _checkout(self, connection, *_) -> None:
        connection.execute(f"PRAGMA query_only={'ON' if self.read_only else 'OFF'}").close()

    def wait_for_refusal(self) -> None:
        assert self.refused.acquire(timeout=60)


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "RETRY_S", 0.01)
    with open_store(tmp_path / "hang-monitor.sqlite") as opened:
        yield opened


def begin(store):
    return store.begin_session_later(SESSION, START_utc_ns, RIG, None, None)


def test_later_writes_wait_for_the_disk_in_their_order_and_others_fail_at_once(store):
    disk = Disk(store)
    disk.read_only = True
    writes = [begin(store), *(store.save_hold_later(sample_hold(SESSION, number)) for number in (1, 2))]
    disk.wait_for_refusal()
    with pytest.raises(DatabaseNotWritten, match="readonly"):
        store.set_setting("a", 1)
    assert [write.done() for write in writes] == [False] * 3
    assert "readonly" in " ".join(store.warnings())
    disk.read_only = False
    store.settle()
    assert [write.exception() for write in writes] == [None] * 3
    assert [hold.number for hold in store.holds_of_session(SESSION)] == [1, 2]
    assert store.warnings() == []


def test_the_last_try_is_final_and_the_loss_is_told(store):
    disk = Disk(store)
    disk.read_only = True
    first = begin(store)
    disk.wait_for_refusal()
    store.finish_retries()
    assert isinstance(first.exception(), DatabaseNotWritten)
    assert isinstance(begin(store).exception(), DatabaseNotWritten), "nothing waits after the last try"
    assert "could not be stored" in " ".join(store.warnings())
    store.start_retries()
    again = begin(store)
    disk.wait_for_refusal()
    disk.read_only = False
    assert again.result() is None
    assert store.get_session(SESSION) is not None


def test_closing_tries_once_more(tmp_path, store):
    disk = Disk(store)
    disk.read_only = True
    write = begin(store)
    disk.wait_for_refusal()
    store.close()
    assert isinstance(write.exception(), DatabaseNotWritten)


def test_a_write_that_can_never_be_taken_holds_nobody_up(store):
    wrong = store._writer.submit(lambda c: c.exec_driver_sql("INSERT INTO setting VALUES (NULL, '1', 0)"), retry=True)
    assert isinstance(wrong.exception().__cause__, IntegrityError)
    assert isinstance(store.save_hold_later(sample_hold(SESSION)).exception(), UnknownSession)
    assert begin(store).result() is None
    assert "could not be stored" in " ".join(store.warnings())
