"""A new database out of a damaged one: every row that can still be read, and every session out of its journal."""

from __future__ import annotations

import contextlib
import json
import logging
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sqlalchemy import JSON, Table

from monitor.errors import TellableError
from monitor.measures.session_analysis import AnalysisSettings
from monitor.records.hold_result import HoldResult
from monitor.records.stored_hold import StoredHold
from monitor.store.database.schema import FORMER_COLUMNS, FORMER_TABLES, metadata
from monitor.store.files.file_copies import sync_folder
from monitor.store.files.folder import DataFolder, journal_place
from monitor.store.holds.rows import fingerprint, hold_columns, hold_of_row
from monitor.store.maintenance.rebuild import adopt, all_journals, first_note, remeasure_missing, started_of, strays
from monitor.store.store import Store, open_store

_log = logging.getLogger(__name__)

MOST_ROWS_TRIED = 1_000_000
BEYOND_THE_LAST = 2_000

Progress = Callable[[int, int], None]


@dataclass
class Salvage:
    """What became of a damaged database.

    Attributes
    ----------
    aside : Path
        Where the damaged file lies now.
    saved, lost : dict of str to int
        Rows by table that were read, and rows that were there and could not be read or made no sense.
    rebuilt_sessions, rebuilt_holds : int
        From journals.
    problems : list of str
        Journals that could not be measured.
    """

    aside: Path
    saved: dict[str, int] = field(default_factory=dict)
    lost: dict[str, int] = field(default_factory=dict)
    rebuilt_sessions: int = 0
    rebuilt_holds: int = 0
    problems: list[str] = field(default_factory=list)


def salvage(
    folder: DataFolder, analysis_settings: AnalysisSettings, stamp: str, progress: Progress | None = None
) -> Salvage:
    """Make a new database, put it in force, and lay the damaged one aside.

    The damaged file is only read. Rows go first, then sessions whose row is lost are taken from their journals under
    their old names, so that corrections find them again. May be repeated after an interruption.
    """
    aside = folder.database.with_name(f"{folder.database.name}.damaged-{stamp}")
    fresh = folder.database.with_name(f".{folder.database.name}.new")
    _remove_database(fresh)
    done = Salvage(aside)
    with open_store(fresh):
        pass
    if folder.database.exists():
        _copy_rows(folder, fresh, done)
    with open_store(fresh) as store:
        lost = strays(store, all_journals(folder))
        for number, path in enumerate(lost):
            rebuilt = adopt(store, folder, path, analysis_settings)
            if rebuilt.problem:
                done.problems.append(f"{path.name}: {rebuilt.problem}")
            else:
                done.rebuilt_sessions += 1
                done.rebuilt_holds += len(rebuilt.holds)
            if progress is not None:
                progress(number + 1, len(lost))
        for uid in _sessions_that_lost_holds(folder.database, store) if done.saved else ():
            done.rebuilt_holds += remeasure_missing(store, folder, uid, analysis_settings)
        store.audit.add("hang-monitor doctor", "database made anew", aside.name)
    with closing(sqlite3.connect(fresh)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for ending in ("", "-wal", "-shm"):
        old = Path(f"{folder.database}{ending}")
        if old.exists():
            old.replace(f"{aside}{ending}")
    for ending in ("-wal", "-shm"):
        Path(f"{fresh}{ending}").unlink(missing_ok=True)
    fresh.replace(folder.database)
    sync_folder(folder.root)
    return done


def _copy_rows(folder: DataFolder, fresh: Path, done: Salvage) -> None:
    with closing(sqlite3.connect(fresh)) as new, closing(_reading(folder.database)) as old:
        new.isolation_level = None
        new.execute("PRAGMA foreign_keys=ON")
        new.execute("BEGIN IMMEDIATE")
        for table in metadata.sorted_tables:
            done.saved[table.name], done.lost[table.name] = 0, 0
            if table.name == "hold":
                _sessions_of_holds(old, new, folder)
            for row in _rows(old, table):
                if table.name == "hold" and row is not None:
                    # Before revision 0002 nobody could correct a kind.
                    row.setdefault("corrected_kind", row.get("kind"))
                if row is not None and _sound(table, row) and _insert(new, table, row):
                    done.saved[table.name] += 1
                else:
                    done.lost[table.name] += 1
        new.execute("COMMIT")


def _reading(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    # Text that is no longer UTF-8 makes its row unsound, not the whole table unreadable.
    connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    return connection


def _rows(old: sqlite3.Connection, table: Table) -> Iterator[dict[str, Any] | None]:
    """Yield a table's rows as far as they can be read, from both ends, then one by one in between; None: unreadable."""
    name, columns = _stored_names(old, table)
    if not columns:
        return
    selected = ", ".join(f"{stored} AS {column}" for column, stored in columns.items())
    query = f"SELECT rowid AS rowid_, {selected} FROM {name}"  # noqa: S608 - names of our own schema
    read_ids: set[int] = set()
    for order in ("", " ORDER BY rowid DESC"):
        whole = True
        try:
            for row in old.execute(query + order):
                if row["rowid_"] in read_ids:
                    break
                read_ids.add(row["rowid_"])
                yield _plain(row)
        except (sqlite3.Error, OverflowError, UnicodeError):
            whole = False
        if whole:
            return
    last = max(read_ids, default=0)
    for rowid in range(1, min(last, MOST_ROWS_TRIED) + BEYOND_THE_LAST):
        if rowid not in read_ids:
            try:
                row = old.execute(f"{query} WHERE rowid = ?", (rowid,)).fetchone()
            except (sqlite3.Error, OverflowError, UnicodeError):
                # Behind the last row that can be read nobody knows how many there were.
                if rowid < last:
                    yield None
            else:
                if row is not None:
                    yield _plain(row)


def _stored_names(old: sqlite3.Connection, table: Table) -> tuple[str, dict[str, str]]:
    """Return what the damaged file, of this or an earlier revision, calls a table and those of its columns it has."""
    for name in (table.name, FORMER_TABLES.get(table.name, table.name)):
        with contextlib.suppress(sqlite3.Error):
            there = {str(row["name"]) for row in old.execute(f"PRAGMA table_info({name})")}
            if there:
                either = {c.name: (c.name, FORMER_COLUMNS.get(c.name, c.name)) for c in table.columns}
                stored = {column: next((n for n in names if n in there), "") for column, names in either.items()}
                return name, {column: name for column, name in stored.items() if name}
    return table.name, {}


def _plain(row: sqlite3.Row) -> dict[str, Any]:
    return {key: row[key] for key in row.keys() if key != "rowid_"}  # noqa: SIM118 - a row is no mapping


def _sound(table: Table, row: dict[str, Any]) -> bool:
    """Say whether a row's values are what its columns say, and a hold's columns what its result says."""
    for column in table.columns:
        if column.name not in row:
            continue
        value = row[column.name]
        if value is None:
            if not column.nullable and not column.primary_key:
                return False
            continue
        if isinstance(column.type, JSON):
            if isinstance(value, (int, float)):  # SQLite gives a plain number as one
                continue
            try:
                json.loads(value)
            except (TypeError, ValueError, RecursionError):
                return False
        else:
            kind = column.type.python_type
            allowed: tuple[type, ...] = (int, float) if kind is float else (int,) if kind is bool else (kind,)
            if not isinstance(value, allowed):
                return False
            if isinstance(value, str) and any("\ud800" <= c <= "\udfff" or c == "\0" for c in value):
                return False
    return table.name != "hold" or hold_is_sound(row)


def hold_is_sound(row: dict[str, Any]) -> bool:
    """Say whether a hold's result can be read and agrees with the columns that repeat it; ``result`` is JSON text."""
    try:
        result = json.loads(row["result"])
        HoldResult.from_dict(result)
        full = {"corrected_kind": row["kind"], "hidden": None, "person_uid": None, "target_s": None, "ending": None}
        made = hold_of_row({**full, "made_by": None, **row, "result": result, "session_uid": ""})
        columns = hold_columns(made if row.get("made_by") else _as_measured(made, result))
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError, TellableError):
        return False
    columns.pop("result")
    # A column may be missing: its very name can be what was damaged.
    return all(
        key in row and row[key] in (value, int(value) if isinstance(value, bool) else value)
        for key, value in columns.items()
    )


def _as_measured(made: StoredHold, result: dict[str, Any]) -> StoredHold:
    return replace(made, result=HoldResult.from_dict(result))


def _insert(new: sqlite3.Connection, table: Table, row: dict[str, Any]) -> bool:
    marks = ", ".join("?" for _ in row)
    try:
        new.execute(
            f"INSERT OR ABORT INTO {table.name} ({', '.join(row)}) VALUES ({marks})",  # noqa: S608 - our own names
            list(row.values()),
        )
    except (sqlite3.Error, OverflowError, UnicodeError):
        return False
    return True


def _sessions_of_holds(old: sqlite3.Connection, new: sqlite3.Connection, folder: DataFolder) -> None:
    """Make rows for lost sessions whose holds are not lost: a hold's name begins with its session's."""
    known = {int(i) for (i,) in new.execute("SELECT id FROM session")}
    names = {str(u) for (u,) in new.execute("SELECT uid FROM session")}
    for row in _rows(old, metadata.tables["hold"]):
        if row is None or row.get("made_by") or row["session_id"] in known or not _sound(metadata.tables["hold"], row):
            continue
        uid = str(row["uid"]).rpartition("-")[0]
        try:
            started_utc_ns = started_of(uid)
        except ValueError:
            continue
        place = str(journal_place(uid, started_utc_ns))
        if uid in names or (rig_id := _rig_of(new, folder.journal(place))) is None:
            continue
        session = {
            "id": row["session_id"],
            "uid": uid,
            "started_utc_ns": started_utc_ns,
            "ended_utc_ns": row["onset_utc_ns"] + round(row["duration_s"] * 1e9),
            "journal": place,
            "rig_id": rig_id,
            "interrupted": 1,
        }
        if _insert(new, metadata.tables["session"], session):
            known.add(row["session_id"])
            names.add(uid)


def _sessions_that_lost_holds(damaged: Path, store: Store) -> list[str]:
    """Return the sessions some of whose holds are gone: the index of their names outlives a worn-out page of rows.

    Where the index is damaged too, these are all sessions.
    """
    everyone = [one.uid for one in store.list_sessions(None, newest_first=False)]
    try:
        with closing(_reading(damaged)) as old:
            # Answered from the index of the primary key alone.
            named = {str(row[0]) for row in old.execute("SELECT uid FROM hold ORDER BY uid")}
    except (sqlite3.Error, UnicodeError):
        return everyone
    sessions = {uid.rpartition("-")[0] for uid in named - store.hold_names()}
    return [uid for uid in everyone if uid in sessions]


def _rig_of(new: sqlite3.Connection, journal: Path) -> int | None:
    """Return the row of the rig that a journal names, made where it is new; the newest rig where it names none."""
    try:
        description = first_note(journal).get("rig")
    except TellableError:
        description = None
    if description is not None:
        sha256 = fingerprint(description)
        row = {"sha256": sha256, "description": json.dumps(description), "created_utc_ns": time.time_ns()}
        _insert(new, metadata.tables["rig"], row)
        row = new.execute("SELECT id FROM rig WHERE sha256 = ?", (sha256,)).fetchone()
    else:
        row = new.execute("SELECT id FROM rig ORDER BY id DESC LIMIT 1").fetchone()
    return None if row is None else int(row[0])


def _remove_database(path: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        Path(f"{path}{ending}").unlink(missing_ok=True)
