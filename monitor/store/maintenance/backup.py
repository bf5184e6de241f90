"""Backups that can be trusted: made while the monitor runs, read back, thinned out.

A journal never changes once it is written, so that a new backup copies new journals only. A backup place needs neither
links nor permissions: a USB stick will do.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from firmware_bridge.journal import PACKED
from monitor.errors import MonitorError
from monitor.store.database.schema import FORMER_TABLES
from monitor.store.files.file_copies import copy_part, force, sha256_of, sync_folder, write_forced
from monitor.store.files.folder import DataFolder, private_folder
from monitor.store.maintenance.backup_contents import (
    CONTENTS,
    DATABASE,
    Backup,
    BackupNotUsable,
    Entry,
    check_backup,
    contents_json,
    list_backups,
)
from monitor.store.maintenance.rebuild import all_journals

KEEP = 7
_STAMP = "%Y%m%dT%H%M%SZ"
_PARTIAL = ".partial-"

Progress = Callable[[int, int], None]
"""Gets bytes done and bytes in all."""


class BackupNotMade(MonitorError):
    """The backup could not be written, or did not read back as it was written."""

    code = "backup-not-made"


def make_backup(
    folder: DataFolder, into: Path, *, keep: int = KEEP, now_s: float | None = None, progress: Progress | None = None
) -> Backup:
    """Copy a data folder, read the copy back, then thin out older backups.

    The database is copied first, by SQLite's own backup; every journal that it names was begun before, so that none
    is missing in the copy. A session in progress is copied as far as it has come.

    Raises
    ------
    BackupNotMade
        Older backups are untouched then.
    """
    root = into.expanduser()
    stamp = time.strftime(_STAMP, time.gmtime(time.time() if now_s is None else now_s))
    partial = root / "backups" / f"{_PARTIAL}{stamp}"
    place = root / "backups" / stamp
    try:
        if folder.root.resolve() in (root.resolve(), *root.resolve().parents):
            raise OSError("a copy inside the data folder would be lost with it")
        if place.exists():
            raise OSError(f"there is a backup {stamp} already")
        for old in (root / "backups").glob(f"{_PARTIAL}*"):
            shutil.rmtree(old)
        private_folder(root / "journals")
        private_folder(partial)
        entries = [_copy_database(folder.database, partial / DATABASE)]
        entries += [_copy(path, partial / name, name) for name, path in _small_files(folder)]
        journals = all_journals(folder)
        copied, entries_of_journals = _copy_journals(folder, journals, root, progress)
        entries += entries_of_journals
        write_forced(partial / CONTENTS, contents_json(entries, stamp).encode())
        sync_folder(partial)
        made = Backup(partial, tuple(entries), _missing(partial / DATABASE, entries), copied)
        check_backup(made)
        partial.replace(place)
        sync_folder(place.parent)
    except (OSError, sqlite3.Error, BackupNotUsable) as error:
        raise BackupNotMade(
            what=f"The backup into {root} was not made: {getattr(error, 'strerror', None) or error}.",
            means="Earlier backups there are as they were; what the monitor keeps is untouched.",
            do="Check that the place is there, has room and can be written to, then run it again.",
        ) from error
    return Backup(place, made.entries, made.missing, copied, _thin_out(root, keep))


def _small_files(folder: DataFolder) -> Iterator[tuple[str, Path]]:
    for path in (folder.rig_file, folder.access_file):
        if path.is_file():
            yield path.name, path
    for path in sorted(folder.calibrations.glob("*.toml")):
        yield f"calibrations/{path.name}", path


def _copy_database(source: Path, goal: Path) -> Entry:
    """Copy by SQLite's backup interface: one consistent state, whoever writes meanwhile."""
    os.close(os.open(goal, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    with (
        closing(_reading(source)) as old,
        closing(sqlite3.connect(goal)) as new,
    ):
        old.backup(new)
        # The copy must be one file: no second one that could be left behind.
        new.execute("PRAGMA journal_mode=DELETE")
    force(goal)
    size = goal.stat().st_size
    return Entry(DATABASE, size, sha256_of(goal, size))


def _reading(database: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True, timeout=30)


def _copy(source: Path, goal: Path, name: str) -> Entry:
    private_folder(goal.parent)
    size = source.stat().st_size
    return Entry(name, size, copy_part(source, goal, size))


def _copy_journals(
    folder: DataFolder, journals: list[Path], root: Path, progress: Progress | None
) -> tuple[int, list[Entry]]:
    sizes = {path: path.stat().st_size for path in journals if path.exists()}
    copied, done, whole, entries = 0, 0, sum(sizes.values()), []
    for path in journals:
        name = path.relative_to(folder.root).as_posix()
        try:
            entry, fresh = _copy_journal(path, root / name, name)
        except FileNotFoundError:
            # Packed since the list was made.
            packed = path.with_name(path.name + PACKED)
            if path.suffix == PACKED or not packed.exists():
                raise
            entry, fresh = _copy_journal(packed, root / (name + PACKED), name + PACKED)
        copied += fresh
        done += sizes.get(path, 0)
        entries.append(entry)
        if progress is not None:
            progress(done, whole)
    return copied, entries


def _copy_journal(source: Path, goal: Path, name: str) -> tuple[Entry, int]:
    """Copy what is new of a journal; return its entry and the bytes copied."""
    size = source.stat().st_size
    if goal.exists() and goal.stat().st_size >= size and (sha256 := sha256_of(source, size)) == sha256_of(goal, size):
        return Entry(name, size, sha256), 0
    private_folder(goal.parent)
    beside = goal.with_name(f"{_PARTIAL}{goal.name}")
    beside.unlink(missing_ok=True)
    sha256 = copy_part(source, beside, size)
    beside.replace(goal)
    sync_folder(goal.parent)
    return Entry(name, size, sha256), size


def _missing(database: Path, entries: list[Entry]) -> tuple[str, ...]:
    there = {e.name.removesuffix(PACKED) for e in entries}
    with closing(_reading(database)) as connection:
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        # A database that no program of this version has opened yet has the earlier name.
        table = next((name for name in ("session", FORMER_TABLES["session"]) if name in tables), None)
        query = f"SELECT journal FROM {table}"  # noqa: S608 - one of two names
        places = [str(place) for (place,) in connection.execute(query)] if table else []
    return tuple(place for place in places if place not in there)


def _thin_out(root: Path, keep: int) -> tuple[str, ...]:
    """Remove the oldest backups beyond ``keep``, and journals that no backup needs any more."""
    backups = list_backups(root)
    gone = backups[: max(0, len(backups) - max(1, keep))]
    for backup in gone:
        # Out of the list first: cut off in the middle, a half removed one must not pass for a backup.
        aside = backup.place.with_name(f"{_PARTIAL}{backup.stamp}")
        backup.place.replace(aside)
        shutil.rmtree(aside)
    if gone:
        needed = {e.name for b in backups[len(gone) :] for e in b.entries}
        for path in (root / "journals").rglob("*"):
            if path.is_file() and path.relative_to(root).as_posix() not in needed:
                path.unlink()
    return tuple(backup.stamp for backup in gone)
