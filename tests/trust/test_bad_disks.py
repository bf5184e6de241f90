"""Disks that are full, slow, or suddenly closed, and clocks that are wrong: measuring goes on, the screen says so."""

from __future__ import annotations

import errno
import itertools
import os
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from io import FileIO
from pathlib import Path

import pytest
import sqlalchemy
import table_rig as table_rig_module
from running import waiting_rig
from table_rig import TableRig, table_rig
from typer.testing import CliRunner

import firmware_bridge.journal
from firmware_bridge.journal import torn_bytes
from firmware_bridge.sources import HostClock, SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.analysis import analyse_file
from monitor.cli import app
from monitor.demo import DemoRig
from monitor.pipeline import Output, SessionMeasured
from monitor.store import DataFolder, open_store
from monitor.store.database import writer
from monitor.store.maintenance.doctor import damage_of

SPEED = 40.0
WAIT_S = 60.0


@contextmanager
def small_disk(place: Path, megabytes: int) -> Iterator[Path]:
    """Mount a disk in memory; skip where that is not allowed."""
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=0700", "tmpfs", str(place)], capture_output=True
    )
    if made.returncode:
        pytest.skip(f"this user may not mount a disk in memory: {made.stderr.decode().strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


@contextmanager
def table(folder: Path, *, sessions: int = 1, seed: int = 5) -> Iterator[TableRig]:
    invented = DemoRig(seed=seed, sessions=sessions)
    board = VirtualBoard(
        invented.conversions, channels=len(invented.rig.channels), rate_Hz=invented.rig.nominal_rate_Hz, speed=SPEED,
        buffer_bytes=1 << 20,  # a busy machine is not the subject here
        samples_per_frame=8,  # a board's own four cost twice the work
    )  # fmt: skip
    with table_rig(folder, board, invented.rig, invented.calibration, speed=SPEED) as made:
        made.truth = invented.truth  # type: ignore[attr-defined]
        yield made


def watch(made: TableRig, condition: Callable[[SourceEvent, Output], bool]) -> threading.Event:
    """Return an event that is set once a condition on what the pipeline gives holds."""
    happened, before = threading.Event(), made.observe

    def observe(event: SourceEvent, out: Output) -> None:
        before(event, out)
        if condition(event, out):
            happened.set()

    made.observe = observe  # type: ignore[method-assign]
    return happened


def hanging(_event: SourceEvent, out: Output) -> bool:
    return any(p.hold is not None and not p.hold.ended and p.hold.time_s > 4.0 for p in out.pictures)


def left(_event: SourceEvent, out: Output) -> bool:
    return any(isinstance(e, SessionMeasured) and e.final for e in out.events)


def until(condition: Callable[[], bool]) -> None:
    """Wait for what another thread does with a disk, which tells nobody when it is done."""
    pause = threading.Event()
    for _ in range(int(WAIT_S / 0.05)):
        if condition():
            return
        pause.wait(0.05)
    pytest.fail("it never happened")


def fill(disk: Path) -> Path:
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
        write_for_ever(file)
    return filler


def write_for_ever(file: FileIO) -> None:
    while True:
        file.write(bytes(4096))


def held_as_in_truth(made: TableRig) -> None:
    holds = [h.result.duration_s for h in made.store.list_holds(None, newest_first=False)]
    wanted = [t.duration_s for t in made.truth()]  # type: ignore[attr-defined]
    assert holds == pytest.approx(wanted, abs=0.03)  # the design's demand between live and truth
    assert len(holds) > 0


def test_a_full_disk_stops_no_measuring_and_what_was_measured_is_kept_once_there_is_room(tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "RETRY_S", 0.05)
    with small_disk(tmp_path / "disk", 4) as disk, table(disk / "data") as made:
        filler = fill(disk)
        assert watch(made, hanging).wait(WAIT_S), "the hold is timed on a full disk"
        warnings = " ".join(made.service.health().get("warnings", []))
        assert "No space left" in warnings or "disk is full" in warnings
        assert watch(made, left).wait(WAIT_S)
        assert made.store.list_holds() == []
        filler.unlink()
        made.service.settle()
        held_as_in_truth(made)
        made.service.stop()
        assert damage_of(made.folder.database) == ""
        for path in made.folder.journals.rglob("*.journal"):
            whole = path.stat().st_size - torn_bytes(path)
            assert whole >= 0


def test_a_disk_that_fills_in_mid_hold_leaves_a_journal_of_whole_frames_and_the_hold(tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "RETRY_S", 0.05)
    with small_disk(tmp_path / "disk", 4) as disk, table(disk / "data") as made:
        assert watch(made, hanging).wait(WAIT_S)
        filler = fill(disk)
        assert watch(made, left).wait(WAIT_S)
        warnings = " ".join(made.service.health().get("warnings", []))
        assert "space" in warnings or "full" in warnings
        filler.unlink()
        made.service.settle()
        held_as_in_truth(made)
        made.service.stop()
        (path,) = made.folder.journals.rglob("*.journal")
        assert torn_bytes(path) < 4096
        assert analyse_file(path).result.quality.samples > 80 * 4, "what was written before is whole"
        assert damage_of(made.folder.database) == ""


def test_a_file_system_that_turns_read_only_in_mid_hold_is_told_and_measuring_goes_on(tmp_path, monkeypatch):
    """What the system does when it finds its disk damaged (EROFS), done to the journal's writes and to SQLite's."""
    monkeypatch.setattr(writer, "RETRY_S", 0.05)
    read_only = [False]
    with table(tmp_path / "data") as made:
        assert watch(made, hanging).wait(WAIT_S)

        def writing(connection: sqlite3.Connection, *_: object) -> None:
            # At every turn of the writer: whichever connection it takes is as the disk is by then.
            connection.execute(f"PRAGMA query_only={'ON' if read_only[0] else 'OFF'}").close()

        sqlalchemy.event.listen(made.store._engines[0], "checkout", writing)

        def closed(*_: object) -> int:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))

        with monkeypatch.context() as harm:
            harm.setattr(firmware_bridge.journal.JournalWriter, "_write", closed)
            read_only[0] = True
            assert watch(made, left).wait(WAIT_S)
            warnings = " ".join(made.service.health().get("warnings", []))
            assert "Read-only file system" in warnings
            until(lambda: "readonly database" in " ".join(made.service.health().get("warnings", [])))
        read_only[0] = False
        made.service.settle()
        held_as_in_truth(made)


def test_the_program_does_not_start_on_a_closed_disk_and_the_doctor_says_why(tmp_path):
    with small_disk(tmp_path / "disk", 8) as disk:
        start = waiting_rig(disk / "data")
        open_store(DataFolder(disk / "data").database).close()
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        for command in (start, ["doctor", "--data", str(disk / "data")]):
            ended = CliRunner().invoke(app, command)
            assert ended.exit_code in (1, 2)
            assert ended.exception is None or isinstance(ended.exception, SystemExit)
            assert "cannot be" in ended.output


def test_a_disk_that_stalls_for_two_seconds_loses_no_reading_and_stops_no_picture(tmp_path, monkeypatch):
    """Every forced write, opening of a journal and commit waits; at this speed 0.1 s are two seconds of the board."""
    stalled = threading.Event()
    count = [0]

    def slow(call: Callable[..., object]) -> Callable[..., object]:
        def waiting(*args: object, **kwargs: object) -> object:
            count[0] += 1
            stalled.wait(2.0 / SPEED)
            return call(*args, **kwargs)

        return waiting

    monkeypatch.setattr(firmware_bridge.journal.os, "fsync", slow(os.fsync))
    monkeypatch.setattr(firmware_bridge.journal.JournalWriter, "__init__",
                        slow(firmware_bridge.journal.JournalWriter.__init__))  # fmt: skip
    with table(tmp_path / "data") as made:
        sqlalchemy.event.listen(made.store._engines[0], "commit", slow(lambda connection: None))
        made.play_to_the_end()
        held_as_in_truth(made)
        assert count[0] > 5
        assert made.board.wire_lost_samples == 0
        assert made.samples == made.board.sent_samples
        (path,) = made.folder.journals.rglob("*.journal")
    t_s = [p.t_s for p in made.pictures]
    assert max(b - a for a, b in itertools.pairwise(t_s)) < 0.2
    assert len(analyse_file(path).result.holds) == len(made.truth())  # type: ignore[attr-defined]


class SteppedClock(HostClock):
    """A host's clock whose UTC is off by an amount that may be changed."""

    off_ns = 0

    def utc_ns(self) -> int:
        return max(0, super().utc_ns() + self.off_ns)


@pytest.mark.parametrize(
    ("before_s", "after_s"),
    [(-1.79e9, 0.0), (0.0, 86_400.0), (0.0, -1.5)],
    ids=["1970, then the network comes", "a day ahead", "set by the network"],
)
def test_a_clock_that_steps_in_mid_hold_changes_no_time_on_the_bar(tmp_path, monkeypatch, before_s, after_s):
    clock = SteppedClock(SPEED)
    clock.off_ns = int(before_s * 1e9)
    monkeypatch.setattr(table_rig_module, "HostClock", lambda speed: clock)
    with table(tmp_path / "data") as made:
        assert watch(made, hanging).wait(WAIT_S)
        clock.off_ns = int(after_s * 1e9)
        made.play_to_the_end()
        held_as_in_truth(made)
        assert made.store.unfinished_sessions() == []
        now_ns = HostClock(1.0).utc_ns()
        for hold in made.store.list_holds(None):
            off_s = (hold.onset_utc_ns - now_ns) / 1e9
            assert min(abs(off_s - before_s), abs(off_s - after_s)) < 600, "dated by one of the two clocks"
        (path,) = made.folder.journals.rglob("*.journal")
    again = [h.duration_s for h in analyse_file(path).result.holds]
    assert again == pytest.approx([t.duration_s for t in made.truth()], abs=0.03)  # type: ignore[attr-defined]


def test_a_time_zone_that_changes_in_mid_hold_changes_no_time_and_each_hold_keeps_its_own(tmp_path, monkeypatch):
    def zone(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    try:
        zone("<+05>-5")  # five hours ahead of UTC all year (POSIX form)
        with table(tmp_path / "data") as made:
            assert watch(made, hanging).wait(WAIT_S)
            zone("<-03>3")
            made.play_to_the_end()
            held_as_in_truth(made)
            now_ns = HostClock(1.0).utc_ns()
            holds = made.store.list_holds(None)
            assert all(abs(hold.onset_utc_ns - now_ns) < 600e9 for hold in holds)
            assert {hold.utc_offset_s for hold in holds} <= {5 * 3600, -3 * 3600}
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("look", [damage_of, lambda path: open_store(path).close()], ids=["doctor", "start"])
def test_an_old_database_that_was_cut_off_in_a_change_opens_again_as_it_was_before(tmp_path, look):
    # Before WAL, SQLite keeps a note beside the file of how to take the change back (its documentation: "hot journal").
    old = Path(__file__).parents[1] / "store" / "old" / "revision_0002.sqlite"
    at_work, cut_off = tmp_path / "at-work.sqlite", tmp_path / "hang-monitor.sqlite"
    shutil.copy(old, at_work)
    with closing(sqlite3.connect(at_work, isolation_level=None)) as connection:
        before = connection.execute("SELECT uid, result FROM hold ORDER BY uid").fetchall()
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN")
        connection.execute("UPDATE hold SET result = replace(result, '.', '7')")
        connection.execute("CREATE TABLE much AS SELECT randomblob(2000000)")  # more than is held in memory
        for ending in ("", "-journal"):
            shutil.copy(f"{at_work}{ending}", f"{cut_off}{ending}")
    assert cut_off.read_bytes() != old.read_bytes()
    assert not look(cut_off)
    with closing(sqlite3.connect(cut_off)) as connection:
        assert connection.execute("SELECT uid, result FROM hold ORDER BY uid").fetchall() == before
