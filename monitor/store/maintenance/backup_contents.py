"""What a backup place holds: its backups, their files with sizes and hashes, and whether they are intact.

A backup place holds ``backups/<UTC stamp>/`` (database, rig, calibrations, passcodes, and ``contents.json`` with every
file's size and SHA-256) and one ``journals/`` for all of them.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from firmware_bridge.journal import PACKED
from monitor.errors import MonitorError
from monitor.store.files.file_copies import forget_cached, sha256_of

CONTENTS = "contents.json"
DATABASE = "hang-monitor.sqlite"
FORMAT = 1


class BackupNotUsable(MonitorError):
    """There is no backup at this place, or it is not whole."""

    code = "backup-not-usable"


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
            forget_cached(path)
            sha256 = sha256_of(path, entry.size)
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


def contents_json(entries: list[Entry], stamp: str) -> str:
    """Return the table of contents of a backup."""
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


def _not_usable(what: str) -> BackupNotUsable:
    return BackupNotUsable(
        what=what,
        means="Nothing was put back and nothing was changed.",
        do="Give the folder that hang-monitor backup was given, or take another of its backups with --which.",
    )
