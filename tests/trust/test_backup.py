"""Copies of what is kept: made while it changes, read back, thinned out, put back elsewhere; hostile ones refused."""

from __future__ import annotations

import gzip
import json
import os
import sqlite3
import stat
import threading
from contextlib import closing
from pathlib import Path

import pytest
from authorized_hall import CountingHasher
from blank import blank_database
from store_samples import CALIBRATION, RIG, START_utc_ns, sample_hold
from typer.testing import CliRunner

from firmware_bridge.journal import JournalWriter
from monitor.cli import app
from monitor.store import AccessFile, DatabaseNewer, DataFolder, open_store
from monitor.store.database.schema import REVISIONS
from monitor.store.maintenance import backup as backups
from monitor.store.maintenance.backup import BackupNotMade, make_backup
from monitor.store.maintenance.backup_contents import BackupNotUsable, list_backups
from monitor.store.maintenance.restore import RestoreRefused, restore

RUNNER = CliRunner()


def filled(root: Path, sessions: int = 3) -> DataFolder:
    """Return a data folder with sessions, holds, journals, a rig and passcodes."""
    folder = DataFolder.open(root)
    folder.rig_file.write_text("name = 'hall'\n")
    (folder.calibrations / "2026-01-01T000000Z.toml").write_text("id = 'x'\n")
    access = AccessFile(folder.access_file, CountingHasher())
    access.set_passcode("Olga", "owner", "a dry blue heron")
    access.sign_in("Olga", "owner", "lost tablet")
    with open_store(blank_database(folder.database)) as store:
        for number in range(sessions):
            add_session(store, folder, number)
    return folder


def add_session(store, folder: DataFolder, number: int) -> str:
    at_ns = START_utc_ns + number * 600_000_000_000
    uid = store.begin_session(at_ns, RIG, CALIBRATION)
    with JournalWriter(folder.new_journal(uid, at_ns)) as journal:
        journal.note({"session": uid, "number": number})
    store.save_hold(sample_hold(uid))
    store.end_session(uid, at_ns + 10**10)
    return uid


def stored(folder: DataFolder) -> tuple:
    with open_store(folder.database) as store:
        holds = store.list_holds(None)
    files = {p.relative_to(folder.root).as_posix(): p.read_bytes() for p in folder.journals.rglob("*") if p.is_file()}
    return holds, files, folder.rig_file.read_text(), sorted(p.name for p in folder.calibrations.iterdir())


def test_a_backup_of_version_0_1_is_restored_and_brought_up_to_date(tmp_path):
    """The program may copy a database before it has migrated it, and an old copy may come back at any time."""
    old = Path(__file__).parents[1] / "store" / "old" / "revision_0006.sqlite"
    session, journal = "20251009T085320Z-0badcafe", "journals/2025/10/20251009T085320Z-0badcafe.journal"
    folder = DataFolder.open(tmp_path / "data")
    folder.database.write_bytes(old.read_bytes())
    made = make_backup(folder, tmp_path / "stick")
    assert made.missing == (journal,), "the old database tells where the journal should be"
    with closing(sqlite3.connect(made.place / "hang-monitor.sqlite")) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [("0006",)]
    (backup,) = list_backups(tmp_path / "stick")
    restore(backup, tmp_path / "other")
    with open_store(DataFolder(tmp_path / "other").database) as store:
        assert store.get_session(session).journal == journal
        assert len(store.holds_of_session(session)) == 4
        assert len(store.corrections.of_session(session)) == 2


def test_what_was_backed_up_comes_back_on_another_machine(tmp_path):
    folder = filled(tmp_path / "data")
    into, goal = tmp_path / "stick", tmp_path / "other" / "data"
    messages = RUNNER.invoke(app, ["backup", str(into), "--data", str(folder.root)])
    assert messages.exit_code == 0, messages.output
    assert "read back and compared" in messages.output
    before = stored(folder)
    messages = RUNNER.invoke(app, ["restore", str(into), "--data", str(goal)])
    assert messages.exit_code == 0, messages.output
    assert stored(DataFolder(goal)) == before
    modes = {p: stat.S_IMODE(p.stat().st_mode) for p in [goal, *goal.rglob("*")]}
    assert all(mode == (0o700 if p.is_dir() else 0o600) for p, mode in modes.items()), modes
    access = AccessFile(DataFolder(goal).access_file, CountingHasher())
    assert access.check("Olga", "a dry blue heron") is not None
    assert access.sign_ins() == (), "the lost tablet is not back in"


def test_a_backup_made_while_holds_are_saved_is_one_consistent_state(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    enough, stop = threading.Event(), threading.Event()

    def work() -> None:
        with open_store(folder.database) as store:
            for number in range(3, 100_000):
                add_session(store, folder, number)
                if number > 10:
                    enough.set()
                if stop.is_set():
                    return

    worker = threading.Thread(target=work)
    worker.start()
    try:
        assert enough.wait(120)
        made = [make_backup(folder, into, now_s=1e9 + n) for n in range(3)]
    finally:
        stop.set()
        worker.join()
    for number, one in enumerate(made):
        goal = tmp_path / f"goal{number}"
        restore(one, goal)
        with open_store(goal / "hang-monitor.sqlite") as store:
            sessions = store.list_sessions(None)
            holds = store.list_holds(None)
        assert len(sessions) >= 10
        assert one.missing == ()
        # A session that had ended had its hold; only the newest may be in progress.
        ended = {s.uid for s in sessions if s.ended_utc_ns}
        assert ended <= {h.session_uid for h in holds}
        assert len(sessions) - len(ended) <= 1
        assert all((goal / s.journal).exists() for s in sessions)


def test_a_second_backup_copies_what_is_new_and_old_ones_are_thinned_out(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    first = make_backup(folder, into, keep=2, now_s=0)
    assert first.copied_bytes > 0
    assert make_backup(folder, into, keep=2, now_s=1).copied_bytes == 0
    gone = next(folder.journals.rglob("*.journal"))
    # What is removed from the data folder stays in the backups that have it ...
    gone.unlink()
    third = make_backup(folder, into, keep=2, now_s=2)
    assert (third.removed, third.missing) == ((first.stamp,), (gone.relative_to(folder.root).as_posix(),))
    copy = into / gone.relative_to(folder.root)
    assert copy.exists()
    # ... and goes with the last of them.
    make_backup(folder, into, keep=2, now_s=3)
    assert not copy.exists()
    assert [b.stamp for b in list_backups(into)] == ["19700101T000002Z", "19700101T000003Z"]


def test_a_journal_that_grows_or_is_packed_between_backups_is_right_in_both(tmp_path):
    folder, into = filled(tmp_path / "data", sessions=1), tmp_path / "stick"
    journal = next(folder.journals.rglob("*.journal"))
    before = journal.read_bytes()
    first = make_backup(folder, into, now_s=0)
    journal.write_bytes(before + b"more")
    second = make_backup(folder, into, now_s=1)
    packed = journal.with_name(journal.name + ".gz")
    packed.write_bytes(gzip.compress(before + b"more"))
    journal.unlink()
    third = make_backup(folder, into, now_s=2)
    assert third.missing == ()
    for one, content in ((first, before), (second, before + b"more"), (third, before + b"more")):
        goal = tmp_path / one.stamp
        restore(one, goal)
        (path,) = [p for p in (goal / "journals").rglob("*") if p.is_file()]
        data = path.read_bytes()
        assert (gzip.decompress(data) if path.suffix == ".gz" else data) == content


@pytest.mark.parametrize("part", ["hang-monitor.sqlite", "rig.toml", "journal", "contents.json"])
@pytest.mark.parametrize("harm", ["flip", "cut", "gone"])
def test_a_backup_that_was_harmed_is_not_put_back(tmp_path, part, harm):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    made = make_backup(folder, into)
    path = next(into.rglob("*.journal")) if part == "journal" else made.place / part
    data = bytearray(path.read_bytes())
    if harm == "flip":
        data[len(data) // 2] ^= 0x10
        path.write_bytes(data)
    elif harm == "cut":
        path.write_bytes(data[: len(data) // 2])
    else:
        path.unlink()
    goal = tmp_path / "goal"
    messages = RUNNER.invoke(app, ["restore", str(into), "--data", str(goal)])
    assert messages.exit_code == 2
    assert "Traceback" not in messages.output
    assert not goal.exists()
    assert RUNNER.invoke(app, ["restore", str(into), "--check"]).exit_code == 2


def test_a_copy_that_does_not_read_back_as_written_is_no_backup(tmp_path, monkeypatch):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    make_backup(folder, into, now_s=0)
    whole = backups.check_backup

    def worn_out(backup: backups.Backup) -> None:
        path = backup.place / "rig.toml"
        path.write_text(path.read_text().replace("hall", "hell"))
        whole(backup)

    monkeypatch.setattr(backups, "check_backup", worn_out)
    with pytest.raises(BackupNotMade, match="not what was copied"):
        make_backup(folder, into, now_s=1, keep=1)
    assert [b.stamp for b in list_backups(into)] == ["19700101T000000Z"], "the good one is still there"


@pytest.mark.parametrize(
    "name",
    ["../evil.toml", "/etc/passwd", "calibrations/../../evil.toml", "journals/a/b/../../../../evil.journal", "evil.sh",
     "journals/2026/01/x.journal/../../../../y", "calibrations/x.toml/y", "", ".", "calibrations\\..\\evil.toml",
     "journals/2026/01/x.py", "./rig.toml", "journals//2026/01/x.journal"],
)  # fmt: skip
def test_a_backup_whose_names_lead_elsewhere_is_refused(tmp_path, name):
    """The trick of archives that unpack beside their folder, here in the table of contents."""
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    made = make_backup(folder, into)
    contents = json.loads((made.place / "contents.json").read_text())
    contents["files"].append({**contents["files"][1], "name": name})
    (made.place / "contents.json").write_text(json.dumps(contents))
    with pytest.raises(BackupNotUsable):
        restore(list_backups(into)[0], tmp_path / "goal")
    assert not (tmp_path / "goal").exists()
    assert not list(tmp_path.rglob("evil*"))


def test_a_backup_with_a_link_in_it_is_refused(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    made = make_backup(folder, into)
    secret = tmp_path / "rig.toml"
    secret.write_text((made.place / "rig.toml").read_text())
    (made.place / "rig.toml").unlink()
    (made.place / "rig.toml").symlink_to(secret)
    with pytest.raises(BackupNotUsable, match="is a link"):
        list_backups(into)


def test_a_backup_of_a_newer_program_is_refused_before_anything_is_touched(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    with closing(sqlite3.connect(folder.database)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    made = make_backup(folder, into)
    goal = filled(tmp_path / "goal")
    before = stored(goal)
    with pytest.raises(DatabaseNewer):
        restore(made, goal.root, replace=True)
    assert stored(goal) == before


def test_a_backup_of_an_older_program_is_put_back_and_brought_up_to_date(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    old = Path(__file__).parents[1] / "store" / "old" / "revision_0001.sqlite"
    for path in folder.root.glob("hang-monitor.sqlite*"):
        path.unlink()
    folder.database.write_bytes(old.read_bytes())
    restore(make_backup(folder, into), tmp_path / "goal")
    with closing(sqlite3.connect(tmp_path / "goal" / "hang-monitor.sqlite")) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [(REVISIONS[-1],)]
        assert connection.execute("SELECT count(*) FROM hold").fetchone()[0] == 3


def test_a_folder_that_is_not_empty_is_laid_aside_and_never_lost(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    made = make_backup(folder, into)
    with open_store(folder.database) as store:
        add_session(store, folder, 7)
    later = stored(folder)
    with pytest.raises(RestoreRefused, match="not empty"):
        restore(made, folder.root)
    aside = restore(made, folder.root, replace=True)
    assert aside is not None
    assert stored(DataFolder(aside)) == later
    assert len(stored(folder)[0]) == 3
    with pytest.raises(RestoreRefused, match="laid"):
        restore(made, folder.root, replace=True)


def test_a_running_monitor_may_be_backed_up_and_not_be_replaced(tmp_path):
    folder, into = filled(tmp_path / "data"), tmp_path / "stick"
    with folder.held():
        assert RUNNER.invoke(app, ["backup", str(into), "--data", str(folder.root)]).exit_code == 0
        messages = RUNNER.invoke(app, ["restore", str(into), "--data", str(folder.root), "--replace"])
    assert messages.exit_code == 2
    assert "Another program works on" in messages.output
    assert len(stored(folder)[0]) == 3


@pytest.mark.parametrize("into", ["data/inside", "file/below"])
def test_a_place_that_cannot_hold_backups_is_told(tmp_path, into):
    folder = filled(tmp_path / "data")
    (tmp_path / "file").write_text("")
    messages = RUNNER.invoke(app, ["backup", str(tmp_path / into), "--data", str(folder.root)])
    assert messages.exit_code == 2
    assert "was not made" in messages.output
    assert not os.path.lexists(tmp_path / into)
