"""Harm done to what is kept, and the doctor's mending: no hold may be missing, none half there."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from load_stories import TWO_SESSIONS
from stored_samples import START_NS, add_session, alike, filled, holds_of, journal_bytes
from typer.testing import CliRunner

from monitor.cli import app
from monitor.store import DatabaseNewer, DataFolder, open_store
from monitor.store.maintenance.doctor import Doctor, damage_of

RUNNER = CliRunner()
NOW_S = START_NS / 1e9 + 400 * 86_400


def examined(folder: DataFolder, *, mending: bool = False) -> list:
    outcome = Doctor(folder, mending=mending, now_s=NOW_S).examine()
    # The disk of the machine that runs the tests is not the subject.
    return [f for f in outcome if not f.what.startswith(("Room for curves", "The disk is nearly"))]


def closed(folder: DataFolder) -> None:
    """Make the database one file, as after a clean end."""
    with closing(sqlite3.connect(folder.database)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def test_a_sound_folder_is_told_to_be_one(tmp_path):
    assert examined(filled(tmp_path / "data")) == []
    assert examined(DataFolder.open(tmp_path / "empty")) == []


def test_looking_changes_nothing_and_mending_everything_at_once_leaves_nothing_to_do(tmp_path):
    folder = filled(tmp_path / "data")
    with open_store(folder.database) as store:
        unfinished = add_session(store, folder, 50, ended=False)
        stray = add_session(store, folder, 51, in_database=False)
    torn = sorted(folder.journals.rglob("*.journal"))[0]
    torn.write_bytes(torn.read_bytes()[:-7])
    (folder.root / ".rig.toml.abc123").write_text("half")
    folder.database.chmod(0o644)
    closed(folder)
    before = {p: p.read_bytes() for p in folder.root.rglob("*") if p.is_file()}
    outcome = examined(folder)
    assert len(outcome) >= 5
    assert all(f.do and not f.mended for f in outcome)
    unchanged = {p: d for p, d in before.items() if not p.name.endswith(("-wal", "-shm"))}
    assert {p: p.read_bytes() for p in unchanged} == unchanged
    mended = examined(folder, mending=True)
    assert [f.what for f in mended if not f.mended] == []
    assert examined(folder) == []
    holds = holds_of(folder)
    for uid in (unfinished, stray):
        mine = [h for h in holds.values() if h.session_uid == uid]
        assert len(mine) == 2
        assert all("interrupted" in h.result.flags for h in mine)


def test_mending_waits_until_the_monitor_has_ended(tmp_path):
    folder = filled(tmp_path / "data")
    with folder.held():
        assert RUNNER.invoke(app, ["doctor", "--data", str(folder.root)]).exit_code in (0, 1)
        refused = RUNNER.invoke(app, ["doctor", "--mend", "--data", str(folder.root)])
    assert refused.exit_code == 2
    assert "Another program works on" in refused.output


def harmed(folder: DataFolder, seed: int) -> None:
    """Flip bytes at random places of the database file: single ones, and a worn-out stretch."""
    rng, data = random.Random(seed), bytearray(folder.database.read_bytes())
    for _ in range(rng.choice([1, 5, 40])):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    if rng.random() < 0.5:
        first = rng.randrange(0, len(data) - 4096)
        data[first : first + 4096] = rng.randbytes(4096)
    if rng.random() < 0.2:
        del data[rng.randrange(4096, len(data)) :]
    folder.database.write_bytes(data)


@pytest.fixture(scope="module")
def hall(tmp_path_factory) -> tuple[DataFolder, bytes, dict]:
    folder = filled(tmp_path_factory.mktemp("hall") / "data", sessions=6)
    closed(folder)
    return folder, folder.database.read_bytes(), holds_of(folder)


OLD = sorted((Path(__file__).parents[1] / "store" / "old").glob("revision_*.sqlite"))
OLD_SESSION = "20251009T085320Z-0badcafe"


@pytest.mark.parametrize("old", OLD, ids=lambda path: path.stem)
@pytest.mark.parametrize("harm", ["an index", "a hold that makes no sense"])
def test_a_damaged_database_of_an_earlier_revision_is_made_anew_with_its_sessions_holds_and_corrections(
    tmp_path, old, harm
):
    folder = DataFolder.open(tmp_path / "data")
    shutil.copy(old, folder.database)
    whole = tmp_path / "whole.sqlite"
    shutil.copy(old, whole)
    with closing(sqlite3.connect(folder.database, isolation_level=None)) as connection:
        if harm == "an index":
            query = "SELECT rootpage FROM sqlite_master WHERE name = 'ix_hold_onset_utc_ns_uid'"
            (page,) = connection.execute(query).fetchone()
            (size,) = connection.execute("PRAGMA page_size").fetchone()
        else:
            connection.execute("UPDATE hold SET duration_s = 1e9 WHERE uid = ?", (f"{OLD_SESSION}-002",))
    if harm == "an index":
        data = bytearray(folder.database.read_bytes())
        data[(page - 1) * size : page * size] = bytes(size)
        folder.database.write_bytes(data)
    assert damage_of(folder.database) != ""
    (finding,) = [f for f in examined(folder, mending=True) if "database is damaged" in f.what]
    assert finding.mended
    assert damage_of(folder.database) == ""
    lost = {f"{OLD_SESSION}-002"} if harm != "an index" else set()
    with open_store(folder.database) as mended, open_store(whole) as before:
        wanted = [hold for hold in before.holds_of_session(OLD_SESSION) if hold.uid not in lost]
        assert mended.holds_of_session(OLD_SESSION) == wanted
        assert mended.get_session(OLD_SESSION) == before.get_session(OLD_SESSION)
        assert mended.corrections.of_session(OLD_SESSION) == before.corrections.of_session(OLD_SESSION)
        assert mended.markers.of_session(OLD_SESSION) == before.markers.of_session(OLD_SESSION)
        assert mended.people.everybody() == before.people.everybody()


# A byte that nothing refers to; pages that make no sense; a file that does not open; a page that is none.
@pytest.mark.parametrize("seed", [0, 2, 3, 8])
def test_a_database_with_flipped_bytes_is_made_anew_without_losing_a_hold(hall, seed):
    folder, whole, before = hall
    for path in folder.root.glob("hang-monitor.sqlite*"):
        path.unlink()
    folder.database.write_bytes(whole)
    harmed(folder, seed)
    complaint = damage_of(folder.database)
    try:
        examined(folder, mending=True)
    except DatabaseNewer:
        pytest.fail("a flipped byte must not pass for a newer program")
    assert damage_of(folder.database) == ""
    after = holds_of(folder)
    assert set(after) == set(before)
    assert all(alike(after[uid], before[uid]) for uid in before)
    if complaint:
        (aside,) = folder.root.glob("hang-monitor.sqlite.damaged-*[Z0-9]")
        assert aside.stat().st_size > 0
        with open_store(folder.database) as store:
            assert store.audit.recent()[0].what == "database made anew"
    for path in folder.root.glob("hang-monitor.sqlite.damaged-*"):
        path.unlink()


def test_what_can_be_read_of_a_damaged_database_is_kept_to_the_last_entry(tmp_path):
    """One page of holds is worn out; people, corrections, settings and the log lie elsewhere."""
    folder = filled(tmp_path / "data", sessions=12)
    closed(folder)
    with closing(sqlite3.connect(folder.database)) as connection:
        page_size = connection.execute("PRAGMA page_size").fetchone()[0]
        query = "SELECT pageno FROM dbstat WHERE name = 'hold' AND pagetype = 'leaf' ORDER BY pageno LIMIT 1 OFFSET 2"
        try:
            page = connection.execute(query).fetchone()[0]
        except sqlite3.OperationalError:
            pytest.skip("this SQLite tells no page numbers (built without dbstat)")
    data = bytearray(folder.database.read_bytes())
    data[(page - 1) * page_size : page * page_size] = os.urandom(page_size)
    folder.database.write_bytes(data)
    examined(folder, mending=True)
    with open_store(folder.database) as store:
        assert [p.name for p in store.people.everybody()] == ["A. B."]
        assert store.get_setting("given") == {"alpha_max": 0.2, "bodyweight_N": None}
        made = store.corrections.recent()
        assert (len(made), {c.made_by for c in made}) == (3, {"C. D."})
        assert sum(e.what.startswith("correction made") for e in store.audit.recent()) == 3
        assert len(store.list_holds(None)) == 24
        corrected = store.get_hold(made[0].hold_uid)
        assert corrected.result.kind == "active"
        assert corrected.person_uid is not None


@pytest.mark.parametrize("rest", [b"", b"SQLite format 3\0", b"nothing of the kind" * 100])
def test_a_lost_database_comes_back_from_journals_alone(tmp_path, rest):
    folder = filled(tmp_path / "data", sessions=3)
    before = holds_of(folder)
    for path in folder.root.glob("hang-monitor.sqlite*"):
        path.unlink()
    if rest:
        folder.database.write_bytes(rest)
    messages = RUNNER.invoke(app, ["doctor", "--mend", "--data", str(folder.root)])
    assert "Traceback" not in messages.output
    assert "3 sessions with 6 holds from journals" in messages.output
    after = holds_of(folder)
    assert set(after) == set(before)
    assert all(alike(after[uid], before[uid]) for uid in before)


def test_a_newer_database_is_not_mended_away(tmp_path):
    folder = filled(tmp_path / "data")
    with closing(sqlite3.connect(folder.database)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    closed(folder)
    data = folder.database.read_bytes()
    messages = RUNNER.invoke(app, ["doctor", "--mend", "--data", str(folder.root)])
    assert "newer version" in messages.output
    assert folder.database.read_bytes() == data
    assert not list(folder.root.glob("*.damaged-*"))


@pytest.mark.parametrize("seed", range(8))
def test_a_scrambled_journal_gives_what_is_left_of_it_and_no_traceback(tmp_path, seed):
    rng, data = random.Random(seed), bytearray(journal_bytes())
    harm = rng.choice(["cut", "flip", "swap", "zeros", "noise"])
    at = rng.randrange(600, len(data) - 2000)
    if harm == "cut":
        del data[at:]
    elif harm == "flip":
        for _ in range(50):
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif harm == "swap":
        data[at : at + 1000], data[at + 1000 : at + 2000] = data[at + 1000 : at + 2000], data[at : at + 1000]
    elif harm == "zeros":
        data[at : at + 1500] = bytes(1500)
    else:
        data[at : at + 1500] = rng.randbytes(1500)
    folder = DataFolder.open(tmp_path / "data")
    with open_store(folder.database) as store:
        add_session(store, folder, 0, in_database=False)
    (path,) = folder.journals.rglob("*.journal")
    path.write_bytes(data)
    messages = RUNNER.invoke(app, ["doctor", "--mend", "--data", str(folder.root)])
    assert messages.exit_code in (0, 1)
    assert messages.exception is None or isinstance(messages.exception, SystemExit)
    holds = holds_of(folder)
    # A stretch in the wrong place starts the clock anew and may cut a hold in two, but nobody hangs longer than the
    # record lasts.
    assert all(hold.result.duration_s > 0 for hold in holds.values())
    assert sum(hold.result.duration_s for hold in holds.values()) < TWO_SESSIONS[-1][0]


@pytest.mark.parametrize(("now_s", "messages"), [(0.0, True), (1.8e9, False)])
def test_a_clock_that_was_never_set_is_told(tmp_path, now_s, messages):
    outcome = list(Doctor(DataFolder.open(tmp_path / "data"), now_s=now_s).examine())
    assert any("clock says 1970" in f.what for f in outcome) is messages
