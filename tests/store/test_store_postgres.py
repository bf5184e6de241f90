"""The same store in PostgreSQL. Runs where ``HANG_MONITOR_TEST_POSTGRES`` is the URL of an empty database to fill."""

from __future__ import annotations

import dataclasses
import os
from concurrent.futures import ThreadPoolExecutor

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, inspect
from store_samples import CALIBRATION, FULL_RESULT, RIG, START_utc_ns, sample_hold

from monitor.store import DatabaseNewer, DatabaseNotWritten, open_store
from monitor.store.database.schema import metadata

URL = os.environ.get("HANG_MONITOR_TEST_POSTGRES", "")
pytestmark = pytest.mark.skipif(not URL, reason="HANG_MONITOR_TEST_POSTGRES gives no database")


@pytest.fixture
def url():
    engine = create_engine(URL)
    yield URL
    with engine.begin() as connection:
        metadata.drop_all(connection)
        connection.exec_driver_sql("DROP TABLE IF EXISTS alembic_version")
        assert inspect(connection).get_table_names() == []
    engine.dispose()


def test_migrations_from_nothing_give_the_tables_that_the_code_uses(url):
    with open_store(url) as store, store._read() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_sessions_holds_and_settings_come_back_as_they_went_in(url):
    with open_store(url) as store:
        uid = store.begin_session(START_utc_ns, RIG, CALIBRATION)
        assert store.get_session(uid) == store.unfinished_sessions()[0]
        hold = store.save_hold(sample_hold(uid))
        assert hold == sample_hold(uid)
        better = dataclasses.replace(FULL_RESULT, peak_N=float("nan"), flags=["größer"])
        revised = store.save_hold(sample_hold(uid, result=better))
        assert (revised.revised, revised.result.peak_N, revised.result.flags) == (1, None, ["größer"])
        second = store.save_hold(sample_hold(uid, 2))
        assert store.list_holds() == list(store.each_hold(newest_first=True)) == [second, revised]
        assert store.withdraw_hold(second.uid)
        assert (store.count_holds(), store.holds_of_session(uid)) == (1, [revised])
        store.end_session(uid, START_utc_ns + 1, quality={"lost": 3})
        assert store.get_session(uid).quality == {"lost": 3}
        store.set_setting("a", [1, None])
        store.set_setting("a", {"b": 2.5})
        assert store.all_settings() == {"a": {"b": 2.5}}
    with open_store(url) as store:
        assert store.list_holds() == [revised]


def test_four_openings_at_once_make_one_database(url):
    with ThreadPoolExecutor(4) as threads:
        stores = list(threads.map(lambda _: open_store(url), range(4)))
    for number, store in enumerate(stores):
        store.set_setting(str(number), number)
        store.close()
    with open_store(url) as store:
        assert len(store.all_settings()) == 4


def test_refusals(url):
    with open_store(url) as store:
        job = store._writer.submit(lambda c: c.exec_driver_sql("INSERT INTO setting VALUES (NULL, '1', 0)"))
        assert isinstance(job.exception(), DatabaseNotWritten)
        store._writer.submit(lambda c: c.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")).result()
    with pytest.raises(DatabaseNewer):
        open_store(url)
