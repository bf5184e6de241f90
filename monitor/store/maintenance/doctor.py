"""Examines everything that is stored, reports what is wrong and what it means, and mends what can be mended."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.journal import PACKED, mend, torn_bytes
from monitor.errors import TellableError
from monitor.measures.session_analysis import AnalysisSettings
from monitor.store.database.engine import check_sqlite_file, database_url
from monitor.store.errors import DatabaseNewer, DatabaseNotOurs
from monitor.store.files.access import AccessFile
from monitor.store.files.folder import DataFolder
from monitor.store.files.storage import budget_of
from monitor.store.maintenance.rebuild import FIRST_YEAR, adopt, all_journals, rebuild_unfinished, strays
from monitor.store.maintenance.salvage import hold_is_sound, salvage
from monitor.store.store import open_store


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it should be.

    Attributes
    ----------
    what, means : str
        For the person.
    do : str
        What to do; empty once it is mended.
    mended : bool
    """

    what: str
    means: str
    do: str = ""
    mended: bool = False


Progress = Callable[[str], None]
MEND = "hang-monitor doctor --mend"


class Doctor:
    """Examines a data folder, part by part.

    Parameters
    ----------
    mending : bool
        Mend what can be mended. The caller holds the folder then: nobody else may work on it.
    analysis_settings : AnalysisSettings
        For sessions that are measured again.
    """

    def __init__(
        self,
        folder: DataFolder,
        *,
        mending: bool = False,
        analysis_settings: AnalysisSettings | None = None,
        now_s: float | None = None,
    ) -> None:
        self._folder, self._mending = folder, mending
        self._analysis_settings = analysis_settings or AnalysisSettings()
        self._now_s = time.time() if now_s is None else now_s

    def examine(self, progress: Progress = lambda part: None) -> Iterator[Finding]:
        """Yield findings as they are made."""
        for part, look in (
            ("clock", self._clock),
            ("permissions", self._permissions),
            ("room on the disk", self._room),
            ("passcodes", self._access),
            ("leftovers", self._leftovers),
            ("journals", self._journals),
            ("database", self._database),
            ("sessions", self._sessions),
        ):
            progress(part)
            yield from look()

    def _clock(self) -> Iterator[Finding]:
        if time.gmtime(self._now_s).tm_year < FIRST_YEAR:
            yield Finding(
                f"The clock says {time.strftime('%Y-%m-%d', time.gmtime(self._now_s))}.",
                "Holds get a wrong date; their times on the bar are right, they are the board's.",
                "Set the clock, or wait until the network has set it; a board without a battery needs that each time.",
            )

    def _permissions(self) -> Iterator[Finding]:
        wrong = []
        for path in [self._folder.root, *self._folder.root.rglob("*")]:
            with contextlib.suppress(FileNotFoundError):
                mode = path.lstat().st_mode
                if not stat.S_ISLNK(mode) and mode & 0o077:
                    wrong.append(path)
        if not wrong:
            return
        if self._mending:
            for path in wrong:
                path.chmod(0o700 if path.is_dir() else 0o600)
        yield self._finding(
            f"Others may read what is kept: {len(wrong)} of the files and folders, as {wrong[0]}.",
            "Other users of this machine can see what is kept of people.",
        )

    def _room(self) -> Iterator[Finding]:
        try:
            for line in budget_of(self._folder, self._now_s).warnings():
                yield Finding(line, "Once it is full, curves are not kept.", "See hang-monitor storage.")
            if not os.access(self._folder.root, os.W_OK) or os.statvfs(self._folder.root).f_flag & os.ST_RDONLY:
                yield Finding(
                    f"{self._folder.root} cannot be written to.",
                    "Holds are timed and shown, and not kept.",
                    "A system that found its disk damaged makes it read-only: look at its log, then replace the disk.",
                )
        except OSError as error:
            yield Finding(f"The disk does not answer: {error}.", "Nothing can be kept.", "Check the disk.")

    def _access(self) -> Iterator[Finding]:
        try:
            AccessFile(self._folder.access_file).accounts()
        except TellableError as error:
            yield Finding(error.what, error.means, error.do)

    def _leftovers(self) -> Iterator[Finding]:
        left = [p for p in self._folder.root.rglob(".*") if p.name.endswith((".new", ".new-wal", ".new-shm"))]
        left += [p for p in self._folder.root.glob(".access.json.*") if p.is_file()]
        left += [p for p in self._folder.root.rglob(".*.toml.*") if p.is_file()]
        if not left:
            return
        if self._mending:
            for path in left:
                path.unlink(missing_ok=True)
        yield self._finding(f"{len(left)} files were left half written by an interruption.", "They are not used.")

    def _journals(self) -> Iterator[Finding]:
        for path in all_journals(self._folder):
            twin = path.with_name(path.name + PACKED)
            if path.suffix != PACKED and twin.exists():
                if self._mending:
                    twin.unlink()
                yield self._finding(f"{path.name} is there packed and unpacked.", "Packing was interrupted.")
            try:
                if not path.stat().st_size:
                    if self._mending:
                        path.unlink()
                    yield self._finding(f"{path.name} is empty.", "An interruption came before its first reading.")
                    continue
                torn = torn_bytes(path)
                if not torn:
                    continue
                if self._mending and path.suffix != PACKED:
                    mend(path)
                    yield Finding(f"{torn} bytes at the end of {path.name} were no whole frame.",
                                  "They are kept in a file beside it.", mended=True)  # fmt: skip
                elif path.suffix == PACKED:
                    yield Finding(f"{path.name} ends in the middle.", "What is before that can be read.",
                                  "Take the journal from a backup, if its holds are to be measured again.")  # fmt: skip
                else:
                    yield self._finding(f"{torn} bytes at the end of {path.name} are no whole frame.", "The rest is.")
            except TellableError as error:
                yield Finding(error.what, error.means, error.do)

    def _database(self) -> Iterator[Finding]:
        path = self._folder.database
        if not path.exists():
            if all_journals(self._folder):
                yield self._made_anew("There are journals and no database.")
            return
        try:
            complaint = damage_of(path)
        except (DatabaseNewer, DatabaseNotOurs) as error:
            if isinstance(error, DatabaseNewer):
                yield Finding(error.what, error.means, error.do)
                return
            complaint = error.what
        if complaint:
            yield self._made_anew(f"The database is damaged: {complaint}")

    def _made_anew(self, what: str) -> Finding:
        if not self._mending:
            return Finding(
                what,
                "Some of what is kept cannot be read, and new holds may not be kept.",
                f"Put a backup back (hang-monitor restore), or make a new database from what is left: {MEND}",
            )
        stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(self._now_s))
        done = salvage(self._folder, self._analysis_settings, stamp)
        saved, lost = sum(done.saved.values()), {k: v for k, v in done.lost.items() if v}
        lost_rows = ", ".join(f"{n} of {table}" for table, n in lost.items()) or "none"
        return Finding(
            what,
            f"A new one has {saved} rows of the old and {done.rebuilt_sessions} sessions with {done.rebuilt_holds} "
            f"holds from journals. Rows that could not be read: {lost_rows}. The damaged one is {done.aside.name}."
            + "".join(f" {problem}" for problem in done.problems),
            mended=True,
        )

    def _sessions(self) -> Iterator[Finding]:
        if not self._folder.database.exists() or (not self._mending and damage_of(self._folder.database)):
            return
        with open_store(self._folder.database) as store:
            unfinished = store.unfinished_sessions()
            if unfinished and not self._mending:
                yield self._finding(
                    f"{len(unfinished)} sessions were begun and never ended.",
                    "The monitor was cut off, or runs now; it rebuilds them at its next start.",
                )
            elif unfinished:
                holds = sum(len(one.holds) for one in rebuild_unfinished(store, self._folder, self._analysis_settings))
                yield Finding(f"{len(unfinished)} sessions were begun and never ended.",
                              f"They were measured from their journals: {holds} holds.", mended=True)  # fmt: skip
            lost = strays(store, all_journals(self._folder))
            if lost and not self._mending:
                yield self._finding(f"The database does not know {len(lost)} journals.", "Their holds are in no list.")
            for path in lost if self._mending else ():
                rebuilt = adopt(store, self._folder, path, self._analysis_settings)
                if rebuilt.problem:
                    yield Finding(
                        f"{path.name} is in no list.", rebuilt.problem, "Look at it with hang-monitor analyse."
                    )
                else:
                    yield Finding(f"{path.name} was in no list.", f"It has {len(rebuilt.holds)} holds.", mended=True)

    def _finding(self, what: str, means: str) -> Finding:
        return Finding(what, means, "" if self._mending else f"Run {MEND}", self._mending)


def damage_of(path: Path) -> str:
    """Return what is wrong with a database in a few words; empty when nothing is.

    SQLite checks its own structure only: so every hold is read too, and compared with the columns that repeat it.

    Raises
    ------
    DatabaseNewer, DatabaseNotOurs
    """
    try:
        check_sqlite_file(path, database_url(path))
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30)) as connection:
            verdict = str(connection.execute("PRAGMA integrity_check").fetchone()[0])
            if verdict != "ok":
                return verdict.replace("\n", " ")[:200]
            broken = connection.execute("PRAGMA foreign_key_check").fetchall()
            if broken:
                return f"{len(broken)} rows refer to others that are not there"
            connection.row_factory = sqlite3.Row
            tables = {str(r[0]) for r in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            unsound = 0
            for row in connection.execute("SELECT * FROM hold") if "hold" in tables else ():
                unsound += not hold_is_sound({key: row[key] for key in row.keys()})  # noqa: SIM118 - no mapping
            if unsound:
                return f"{unsound} holds make no sense"
            for table, column in (("rig", "description"), ("calibration", "content"), ("setting", "value")):
                if table in tables:
                    for (text,) in connection.execute(f"SELECT {column} FROM {table}"):  # noqa: S608 - our own names
                        if not isinstance(text, (int, float)):  # SQLite gives a plain number as one
                            json.loads(text)
    except (DatabaseNewer, DatabaseNotOurs):
        raise
    except TellableError as error:
        return error.what
    except (sqlite3.Error, ValueError, TypeError, UnicodeError, RecursionError) as error:
        return f"{error}"
    return ""
