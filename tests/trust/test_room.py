"""Room on the disk: packing, budget, warnings, and the only way in which an old curve may go."""

from __future__ import annotations

import collections
import gzip
import shutil
import time
from pathlib import Path

import numpy as np
import pytest
from stored_samples import DAY_NS, START_NS, add_session, analysis, filled, journal_bytes, uid_at
from typer.testing import CliRunner

from firmware_bridge.journal import CHUNK, pack_bytes, read_chunks
from monitor.analysis import analyse_file, read_load_curve
from monitor.cli import app
from monitor.service import hold_curve
from monitor.store import DataFolder, hold_uid, open_store
from monitor.store.files import storage
from monitor.store.files.storage import (
    Budget,
    Policy,
    StorageKeeper,
    budget_of,
    pack,
    pack_finished,
    remove_oldest,
    set_policy,
)

RUNNER = CliRunner()


@pytest.fixture
def utc(monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def names(folder: DataFolder) -> list[str]:
    return sorted(p.name for p in folder.journals.rglob("*") if p.is_file())


def test_a_packed_journal_gives_the_same_result_and_the_same_curve(tmp_path):
    path = tmp_path / "a.journal"
    path.write_bytes(journal_bytes())
    before = read_load_curve(path)
    packed = pack(path)
    assert (path.exists(), packed.name) == (False, "a.journal.gz")
    assert gzip.decompress(packed.read_bytes()) == journal_bytes()  # RFC 1952, read by another implementation
    assert packed.stat().st_mode & 0o077 == 0
    again = analyse_file(packed)
    assert again.result == analysis().result
    unpacked = read_load_curve(packed)
    assert unpacked.rig == before.rig
    assert np.array_equal(unpacked.t_s, before.t_s)
    assert np.array_equal(unpacked.load_N, before.load_N, equal_nan=True)
    messages = RUNNER.invoke(app, ["analyse", str(packed), "--json"])
    assert messages.exit_code == 0
    assert '"holds"' in messages.output
    print(f"packed: {packed.stat().st_size / len(journal_bytes()):.2f} of the size")


def test_a_packed_journal_that_was_cut_gives_its_beginning(tmp_path):
    whole = b"".join(pack_bytes([journal_bytes()]))
    path = tmp_path / "a.journal.gz"
    for length in (len(whole) // 2, len(whole) - 4, 3, 0):
        path.write_bytes(whole[:length])
        data = b"".join(read_chunks(path))
        assert journal_bytes().startswith(data)
        assert len(data) >= length if length > 100 else data == b""
    path.write_bytes(whole[: len(whole) // 2])
    assert read_load_curve(path).load_N.shape[1] == 6


def test_damage_in_a_packed_journal_costs_one_piece_of_it_and_not_the_rest(tmp_path):
    content = journal_bytes() * 4
    whole = bytearray(b"".join(pack_bytes([content])))
    path = tmp_path / "a.journal.gz"
    whole[40_000:40_100] = b"\xff" * 100
    path.write_bytes(whole)
    data = b"".join(read_chunks(path))
    # Frames of the other pieces are all there: the longest stretch of the end is untouched.
    assert data.endswith(content[-3 * len(journal_bytes()) // 2 :])
    assert len(content) - len(data) <= CHUNK
    assert content.startswith(data[:40_000])


def test_a_small_packed_file_that_unpacks_to_very_much_is_read_in_pieces(tmp_path):
    path = tmp_path / "bomb.journal.gz"
    with gzip.open(path, "wb", 9) as file:
        for _ in range(64):
            file.write(bytes(1 << 20))
    assert path.stat().st_size < 200_000
    sizes = collections.Counter(len(chunk) for chunk in read_chunks(path))
    assert max(sizes) <= CHUNK
    assert sum(size * n for size, n in sizes.items()) == 64 << 20


def test_finished_days_are_packed_and_today_and_unfinished_sessions_are_not(tmp_path, utc):
    folder = filled(tmp_path / "data", sessions=3)
    now_s = (START_NS + 2 * DAY_NS) / 1e9 + 3600
    with open_store(folder.database) as store:
        add_session(store, folder, 1000, ended=False)
        add_session(store, folder, 1001, in_database=False)
        assert pack_finished(store, folder, now_s=now_s) == 2
        assert [n.endswith(".gz") for n in names(folder)] == [True, True, False, False, False]
        t_s, channels, load_N = hold_curve(store, folder, hold_uid(uid_at(0), 1))
        assert (len(t_s), load_N.shape[1]) == (len(load_N), len(channels))
        assert len(t_s) > 800
        assert pack_finished(store, folder, now_s=now_s) == 0


@pytest.mark.parametrize("when", ["before the name", "before the old one goes"])
def test_packing_that_is_cut_off_loses_nothing(tmp_path, monkeypatch, when):
    path = tmp_path / "a.journal"
    path.write_bytes(journal_bytes())

    def cut(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace" if when == "before the name" else "unlink", cut)
    with pytest.raises(KeyboardInterrupt):
        pack(path)
    monkeypatch.undo()
    assert path.read_bytes() == journal_bytes()
    packed = pack(path)
    assert gzip.decompress(packed.read_bytes()) == journal_bytes()
    assert not path.exists()


def test_a_packed_file_that_does_not_unpack_to_the_same_is_thrown_away(tmp_path, monkeypatch):
    path = tmp_path / "a.journal"
    path.write_bytes(journal_bytes())
    monkeypatch.setattr(storage, "read_chunks", lambda packed: iter([journal_bytes()[:-1]]))
    with pytest.raises(OSError, match="did not unpack"):
        pack(path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.journal"]


def test_the_budget_tells_how_long_the_room_lasts(tmp_path):
    folder = filled(tmp_path / "data", sessions=10)
    now_s = (START_NS + 10 * DAY_NS) / 1e9
    budget = budget_of(folder, now_s)
    assert budget.journal_bytes == 10 * len(journal_bytes())
    assert budget.per_day_bytes == pytest.approx(len(journal_bytes()), rel=1e-9)
    assert budget.days_left == pytest.approx(shutil.disk_usage(tmp_path).free / len(journal_bytes()), rel=0.01)
    assert budget_of(folder, now_s + 60 * 86_400).days_left is None, "nobody came for two months"


@pytest.mark.parametrize(
    ("budget", "word"),
    [(Budget(50_000_000_000, 10**9, 1e6, 50_000.0), None), (Budget(50_000_000_000, 10**9, 0.0, None), None),
     (Budget(5_000_000_000, 10**9, 1e8, 50.0), "50 days"), (Budget(1_500_000_000, 10**9, 1e5, 15_000.0), "1.5 GB"),
     (Budget(100_000_000, 10**9, 1e5, 1000.0), "nearly full")],
)  # fmt: skip
def test_a_disk_that_fills_up_is_told_long_before(budget, word):
    lines = budget.warnings()
    assert (lines == []) if word is None else (len(lines) == 1 and word in lines[0])


def nearly_full(monkeypatch, folder: DataFolder, free_bytes: int) -> None:
    """Let the disk have so little room, and more with every file that goes."""
    begun = sum(p.stat().st_size for p in folder.journals.rglob("*") if p.is_file())
    usage = collections.namedtuple("usage", "total used free")

    def requested(_place: object) -> object:
        now = sum(p.stat().st_size for p in folder.journals.rglob("*") if p.is_file())
        return usage(10**10, 0, free_bytes + begun - now)

    monkeypatch.setattr(storage.shutil, "disk_usage", requested)


def test_without_a_policy_nothing_is_ever_removed(tmp_path, monkeypatch):
    folder = filled(tmp_path / "data", sessions=5)
    nearly_full(monkeypatch, folder, 1)
    with open_store(folder.database) as store:
        keeper = StorageKeeper(store, folder)
        keeper.once()
        assert any("nearly full" in line for line in keeper.warnings())
    assert len(names(folder)) == 5


def test_by_policy_the_oldest_curves_go_one_by_one_until_there_is_room_and_each_is_told(tmp_path, monkeypatch):
    folder = filled(tmp_path / "data", sessions=6)
    nearly_full(monkeypatch, folder, storage.LEAST_FREE_BYTES - 2 * len(journal_bytes()) + 1)
    now_s = (START_NS + 1000 * DAY_NS) / 1e9
    with open_store(folder.database) as store:
        set_policy(store, Policy("remove", 365), "Olga")
        gone = remove_oldest(store, folder, storage.policy_of(store), now_s=now_s)
        assert gone == [uid_at(0), uid_at(1)]
        log = [(e.who, e.what, e.subject) for e in reversed(store.audit.recent()) if "correction" not in e.what]
        assert log == [("Olga", "storage policy: remove, 365 days", ""),
                       ("storage policy", "raw curve removed", uid_at(0)),
                       ("storage policy", "raw curve removed", uid_at(1))]  # fmt: skip
        assert len(store.list_holds(None)) == 12, "holds and their numbers are kept"
        assert hold_curve(store, folder, hold_uid(uid_at(0), 1)) is None


def test_by_policy_young_curves_stay_even_on_a_full_disk(tmp_path, monkeypatch):
    folder = filled(tmp_path / "data", sessions=6)
    nearly_full(monkeypatch, folder, 1)
    with open_store(folder.database) as store:
        assert remove_oldest(store, folder, Policy("remove", 30), now_s=(START_NS + 32.5 * DAY_NS) / 1e9) == [
            uid_at(0), uid_at(1), uid_at(2),
        ]  # fmt: skip
        assert remove_oldest(store, folder, Policy("keep", 30), now_s=1e12) == []


def test_the_command_shows_the_room_and_sets_the_policy(tmp_path):
    folder = filled(tmp_path / "data")
    messages = RUNNER.invoke(app, ["storage", "--data", str(folder.root)])
    assert "Oldest raw curves: never removed." in messages.output
    assert RUNNER.invoke(app, ["storage", "--data", str(folder.root), "--oldest", "burn"]).exit_code == 2
    assert RUNNER.invoke(app, ["storage", "--data", str(folder.root), "--keep-days", "3"]).exit_code == 2
    messages = RUNNER.invoke(
        app, ["storage", "--data", str(folder.root), "--oldest", "remove", "--keep-days", "400", "--pack"]
    )
    assert "older than 400 days" in messages.output
    assert "3 journals packed" in messages.output
    with open_store(folder.database) as store:
        assert storage.policy_of(store) == Policy("remove", 400)
