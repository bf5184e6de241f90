"""Files that the program wrote at each revision of its tables, opened by the program of today."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from store_samples import sample_hold

from monitor.store import open_store
from monitor.store.database.schema import REVISIONS, metadata
from monitor.store.maintenance.doctor import damage_of

OLD = Path(__file__).parent / "old"
SESSION = "20251009T085320Z-0badcafe"
FILES = sorted(OLD.glob("revision_*.sqlite"))


def test_there_is_a_file_of_every_revision_before_this_one():
    assert [path.stem.removeprefix("revision_") for path in FILES] == list(REVISIONS[: len(FILES)])
    assert len(FILES) >= len(REVISIONS) - 1


@pytest.mark.parametrize("old", FILES, ids=lambda path: path.stem)
def test_everything_in_it_is_there_and_it_is_whole(tmp_path, old):
    path = tmp_path / "hang-monitor.sqlite"
    shutil.copy(old, path)
    with open_store(path) as store:
        with store._read() as connection:
            assert compare_metadata(MigrationContext.configure(connection), metadata) == []
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        first = store.get_hold(sample_hold(SESSION, 1).uid)
        assert first is not None
        assert (first.bodyweight_N, first.result.duration_s) == (703.0, sample_hold(SESSION, 1).result.duration_s)
        assert store.get_hold(sample_hold(SESSION, 2).uid) is not None
        assert store.get_hold(sample_hold(SESSION, 3).uid) is None, "it was withdrawn"
        assert store.get_setting("given")["alpha_max"] > 0
        assert store.get_session(SESSION) is not None
        if old.stem >= "revision_0002":
            (person,) = store.people.everybody()
            assert person.name == "A. B."
            (made,) = store.corrections.of_hold(first.uid)
            assert (made.reason, first.result.kind) == ("seen from the side", "active")
        if old.stem >= "revision_0003":
            assert ("C. D. (coach)", "put") in {(entry.who, entry.what) for entry in store.audit.recent()}
    assert damage_of(path) == ""
