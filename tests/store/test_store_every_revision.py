"""Files that the program wrote at each revision of its tables, opened by the program of today."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
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
    assert len(FILES) == len(REVISIONS) - 1


def definitions(path: Path) -> dict[str, str]:
    """Return what a database says of its tables, indexes and triggers, by name, whatever the spaces."""
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        return {name: " ".join(sql.split()) for name, sql in rows}


@pytest.mark.parametrize("old", FILES, ids=lambda path: path.stem)
def test_it_is_defined_like_a_new_database_down_to_the_names_of_its_constraints(tmp_path, old):
    paths = tmp_path / "old.sqlite", tmp_path / "new.sqlite"
    shutil.copy(old, paths[0])
    for path in paths:
        open_store(path).close()
    assert definitions(paths[0]) == definitions(paths[1])
    words = " ".join(definitions(paths[1]).values())
    assert "CONSTRAINT uq_session_uid UNIQUE" in words
    assert "stay" not in words


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
        if old.stem >= "revision_0006":
            assert [one.kind for one in store.corrections.of_session(SESSION)] == ["retag", "split"]
            parts = [hold for hold in store.holds_of_session(SESSION) if hold.made_by is not None]
            assert [part.uid.removeprefix(SESSION) for part in parts] == ["-004-part-1", "-004-part-2"]
            assert [one.text for one in store.markers.of_session(SESSION)] == ["long arms"]
            assert store.swings.of_person(person.uid)[0].kappa == 0.88
        if old.stem >= "revision_0003":
            assert ("C. D. (coach)", "put") in {(entry.who, entry.what) for entry in store.audit.recent()}
    assert damage_of(path) == ""
