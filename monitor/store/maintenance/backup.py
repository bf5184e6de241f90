"""Copies that can be trusted: made while the monitor runs, read back, thinned out, and put back on any machine.

A backup place holds ``backups/<UTC stamp>/`` (database, rig, calibrations, passcodes, and ``contents.json`` with every
file's size and SHA-256) and one ``journals/`` for all of them: a journal never changes once it is written, so that a
new backup copies new journals only. Nothing there needs links or permissions: a USB stick will do.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from firmware_bridge.journal import PACKED
from monitor.errors import MonitorError
from monitor.store.database.schema import FORMER_TABLES
from monitor.store.files.folder import DataFolder, private_folder
from monitor.store.maintenance.rebuild import all_journals

CONTENTS = "contents.json"
DATABASE = "hang-monitor.sqlite"
FORMAT = 1
KEEP = 7
_PIECE = 1 << 20
_STAMP = "%Y%m%dT%H%M%SZ"
_PARTIAL = ".partial-"

Progress = Callable[[int, int], None]
"""Gets bytes done and bytes in all."""


class BackupNotMade(MonitorError):
    """The backup could not be written, or did not read back as it was written."""

    code = "backup-not-made"


class BackupNotUsable(MonitorError):
    """There is no backup at this place, or it is not whole."""

    code = "backup-not-usable"


class RestoreRefused(MonitorError):
    """The backup was not put back, because something is there already."""

    code = "restore-refused"


@dataclass(frozen=True, slots=True)
class Entry:
    """One file of a backup: its name there, its size and SHA-256 when it was copied."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was made or found.

    Attributes
    ----------
    place : Path
        Its folder ``backups/<stamp>``.
    entries : tuple of Entry
        Names are relative to the backup place for journals, to ``place`` for the rest.
    missing : tuple of str
        Journals that the database names and that were not there any more.
    copied_bytes : int
        What was new this time; 0 for one that was found.
    removed : tuple of str
        Stamps of older backups that were thinned out.
    """

    place: Path
    entries: tuple[Entry, ...]
    missing: tuple[str, ...] = ()
    copied_bytes: int = 0
    removed: tuple[str, ...] = ()

    @property
    def stamp(self) -> str:
        """Return the UTC stamp that is the backup's name."""
        return self.place.name

    @property
    def root(self) -> Path:
        """Return the backup place."""
        return self.place.parent.parent

    def path_of(self, entry: Entry) -> Path:
        """Return where a file of the backup lies."""
        return (self.root if entry.name.startswith("journals/") else self.place) / entry.name


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
        _forced(partial / CONTENTS, _contents(entries, stamp).encode())
        _sync_folder(partial)
        made = Backup(partial, tuple(entries), _missing(partial / DATABASE, entries), copied)
        check_backup(made)
        partial.replace(place)
        _sync_folder(place.parent)
    except (OSError, sqlite3.Error, BackupNotUsable) as error:
        raise BackupNotMade(
            what=f"The backup into {root} was not made: {getattr(error, 'strerror', None) or error}.",
            means="Earlier backups there are as they were; what the monitor keeps is untouched.",
            do="Check that the place is there, has room and can be written to, then run it again.",
        ) from error
    return Backup(place, made.entries, made.missing, copied, _thin_out(root, keep))


def list_backups(root: Path) -> list[Backup]:
    """Return the backups of a place, oldest first.

    Raises
    ------
    BackupNotUsable
        There is none, or a table of contents makes no sense.
    """
    places = sorted(p.parent for p in (root.expanduser() / "backups").glob(f"*/{CONTENTS}") if p.parent.name[0] != ".")
    if not places:
        raise _not_usable(f"There is no backup at {root}.")
    return [_read_contents(place) for place in places]


def check_backup(backup: Backup) -> None:
    """Read every file of a backup and compare it with its table of contents; look into the database.

    Raises
    ------
    BackupNotUsable
    """
    for entry in backup.entries:
        path = backup.path_of(entry)
        try:
            _forget_cached(path)
            sha256 = _digest(path, entry.size)
        except (OSError, EOFError) as error:
            raise _not_usable(f"{entry.name} of the backup {backup.stamp} cannot be read: {error}.") from error
        if sha256 != entry.sha256:
            raise _not_usable(f"{entry.name} of the backup {backup.stamp} is not what was copied.")
    try:
        with closing(
            sqlite3.connect(f"{(backup.place / DATABASE).absolute().as_uri()}?mode=ro", uri=True)
        ) as connection:
            verdict = connection.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.Error as error:
        verdict = str(error)
    if verdict != "ok":
        raise _not_usable(f"The database of the backup {backup.stamp} is damaged: {verdict}.")


def restore(
    backup: Backup, folder_root: Path, *, replace: bool = False, progress: Progress | None = None
) -> Path | None:
    """Put a backup in place of a data folder; return where an earlier folder was laid aside.

    Everything is copied and compared beside the goal first; then two renames put it in place. Devices have to sign in
    again: who was sent out after the backup must not be back.

    Raises
    ------
    BackupNotUsable, RestoreRefused
    DatabaseNewer
        A newer program made the backup.
    """
    from monitor.store.files.access import AccessFile
    from monitor.store.store import open_store

    goal = folder_root.expanduser()
    aside = goal.with_name(f"{goal.name}.before-{backup.stamp}")
    occupied = goal.exists() and any(goal.iterdir())
    if occupied and not replace:
        raise RestoreRefused(
            what=f"{goal} is not empty.",
            means="What is kept there would be hidden by the backup; nothing was changed.",
            do="Give another --data, or --replace: the folder is then laid aside, not deleted.",
        )
    if occupied and aside.exists():
        raise RestoreRefused(
            what=f"An earlier restore has laid {aside} aside.",
            means="It would be overwritten; nothing was changed.",
            do="Move it away, then run this again.",
        )
    check_backup(backup)
    fresh = goal.with_name(f".{goal.name}.restoring")
    try:
        if fresh.exists():
            shutil.rmtree(fresh)
        private_folder(fresh)
        done, whole = 0, sum(e.size for e in backup.entries)
        for entry in backup.entries:
            path = fresh / entry.name
            private_folder(path.parent)
            if _copy_part(backup.path_of(entry), path, entry.size) != entry.sha256:
                raise OSError(f"{entry.name} changed while it was read")
            done += entry.size
            if progress is not None:
                progress(done, whole)
        for part in [fresh, *(p for p in fresh.rglob("*") if p.is_dir())]:
            _sync_folder(part)
        # Opened once before it is in force: an older schema is brought up to date, a newer one is refused.
        open_store(fresh / DATABASE).close()
        access = AccessFile(fresh / "access.json")
        if access.accounts():
            access.sign_everyone_out()
        if occupied:
            goal.replace(aside)
        elif goal.exists():
            goal.rmdir()
        private_folder(goal.parent)
        fresh.replace(goal)
        _sync_folder(goal.parent)
    except OSError as error:
        raise RestoreRefused(
            what=f"The backup could not be put into {goal}: {error.strerror or error}.",
            means="What was there before is there still, or lies beside it under a name with 'before'.",
            do="Check the room and the permissions there, then run this again.",
        ) from error
    return aside if occupied else None


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
    _force(goal)
    size = goal.stat().st_size
    return Entry(DATABASE, size, _digest(goal, size))


def _reading(database: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True, timeout=30)


def _copy(source: Path, goal: Path, name: str) -> Entry:
    private_folder(goal.parent)
    size = source.stat().st_size
    return Entry(name, size, _copy_part(source, goal, size))


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
    if goal.exists() and goal.stat().st_size >= size and (sha256 := _digest(source, size)) == _digest(goal, size):
        return Entry(name, size, sha256), 0
    private_folder(goal.parent)
    beside = goal.with_name(f"{_PARTIAL}{goal.name}")
    beside.unlink(missing_ok=True)
    sha256 = _copy_part(source, beside, size)
    beside.replace(goal)
    _sync_folder(goal.parent)
    return Entry(name, size, sha256), size


def _copy_part(source: Path, goal: Path, size: int) -> str:
    """Copy the first bytes of a file to a new private one, force it to the disk, return its SHA-256."""
    digest, left = hashlib.sha256(), size
    with source.open("rb") as old, open(os.open(goal, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as new:
        while left:
            piece = old.read(min(left, _PIECE))
            if not piece:
                raise OSError(f"{source.name} became shorter while it was read")
            digest.update(piece)
            new.write(piece)
            left -= len(piece)
        new.flush()
        os.fsync(new.fileno())
    return digest.hexdigest()


def _digest(path: Path, size: int) -> str:
    """Return the SHA-256 of a file's first bytes; raises ``EOFError`` where it is shorter."""
    digest, left = hashlib.sha256(), size
    with path.open("rb") as file:
        while left:
            piece = file.read(min(left, _PIECE))
            if not piece:
                raise EOFError(f"{left} bytes are missing")
            digest.update(piece)
            left -= len(piece)
    return digest.hexdigest()


def _forget_cached(path: Path) -> None:
    """Have the system read a file from the disk again, where it knows how: what is in memory proves nothing."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)


def _contents(entries: list[Entry], stamp: str) -> str:
    files = [{"name": e.name, "size": e.size, "sha256": e.sha256} for e in entries]
    return json.dumps({"format": FORMAT, "made": stamp, "files": files}, indent=1)


def _read_contents(place: Path) -> Backup:
    try:
        data: Any = json.loads((place / CONTENTS).read_bytes())
        if data["format"] != FORMAT:
            raise ValueError(f"format {data['format']!r} is not known; a newer program may have made it")
        entries = tuple(Entry(_safe(f["name"]), int(f["size"]), str(f["sha256"])) for f in data["files"])
        if len({e.name for e in entries}) < len(entries) or DATABASE not in {e.name for e in entries}:
            raise ValueError("a file stands in it twice, or the database is missing")
        if any(e.size < 0 for e in entries):
            raise ValueError("a size is negative")
        backup = Backup(place, entries)
        for entry in entries:
            if backup.path_of(entry).is_symlink():
                raise ValueError(f"{entry.name} is a link and no file")
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise _not_usable(f"The table of contents of {place} cannot be used: {error}.") from error
    return backup


def _safe(name: Any) -> str:
    """Return a name that stays within its folder and is one that a backup has; raises ``ValueError``."""
    path = PurePosixPath(str(name))
    parts = path.parts
    known = (
        len(parts) == 1 and parts[0] in (DATABASE, "rig.toml", "access.json"),
        len(parts) == 2 and parts[0] == "calibrations" and parts[1].endswith(".toml"),
        len(parts) == 4 and parts[0] == "journals" and parts[3].endswith((".journal", ".journal" + PACKED)),
    )
    if path.is_absolute() or str(path) != name or not any(known) or any(p in ("..", ".") or "\\" in p for p in parts):
        raise ValueError(f"the name {str(name)[:80]!r} has no place in a backup")
    return str(path)


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


def _forced(path: Path, data: bytes) -> None:
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _force(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _sync_folder(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _not_usable(what: str) -> BackupNotUsable:
    return BackupNotUsable(
        what=what,
        means="Nothing was put back and nothing was changed.",
        do="Give the folder that hang-monitor backup was given, or take another of its backups with --which.",
    )
