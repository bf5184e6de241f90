"""A person's export put into a store: all of it or nothing."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from sqlalchemy import JSON, Column, Connection, Integer, Table, delete, insert, select
from sqlalchemy.exc import DataError, IntegrityError, StatementError

from monitor.errors import MonitorError
from monitor.records.hold_result import HoldResult
from monitor.store.audit import audit_row
from monitor.store.database.schema import FORMER_COLUMNS, calibration, correction, hold, marker, person, rig, session
from monitor.store.errors import DatabaseNotWritten
from monitor.store.holds.rows import fingerprint
from monitor.store.people.person_export import ENTRIES, FORMAT, OF_HOLDS, without
from monitor.store.store import Store

OLDER_FORMATS = (1, 2)
"""Written by version 0.1."""


class PersonIsHere(MonitorError):
    """An export's person, or one of its sessions or holds, is in the store already."""

    code = "person-is-here"


class PersonWasErased(MonitorError):
    """An export's person was erased from this store."""

    code = "person-was-erased"


class BadPersonExport(MonitorError):
    """An export does not hold what it must, or is of a newer program."""

    code = "bad-person-export"


def in_current_format(person_export: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return an export of any format that this program reads in the current one.

    Raises
    ------
    BadPersonExport
        Its format is not known, or its lists are none.
    """
    number = person_export.get("format")
    if number == FORMAT:
        return person_export
    if number not in OLDER_FORMATS:
        raise _bad(f"The export has the format {str(number)[:20]!r}; this program reads up to {FORMAT}.")
    current = {"stay": "session"} | {former: name for name, former in FORMER_COLUMNS.items()}
    try:
        rows = {
            name: [{current.get(key, key): value for key, value in row.items()} for row in person_export.get(name, [])]
            for name in ("corrections", "holds", "markers")
        }
        return {**without(person_export, "stays"), **rows, "format": FORMAT, "sessions": person_export["stays"]}
    except (KeyError, TypeError, AttributeError) as error:
        raise _bad(f"The export lacks something or holds it in another form: {str(error)[:200]}.") from error


def write_person_export(
    store: Store, person_export: Mapping[str, Any], *, who: str = "command line", although_erased: bool = False
) -> str:
    """Put an export into a store; return the person's uid.

    Parameters
    ----------
    who : str
        For the audit list.
    although_erased : bool
        Bring back a person who was erased here.

    Raises
    ------
    BadPersonExport, PersonIsHere, PersonWasErased
    """
    current = in_current_format(person_export)
    try:
        job = partial(_write, current, who, although_erased)
        return store._writer.submit(job).result()
    except DatabaseNotWritten as error:
        if isinstance(error.__cause__, (IntegrityError, DataError)):
            raise _bad(f"The export does not fit together: {error.__cause__.orig}.") from error
        raise
    except (KeyError, TypeError, AttributeError, ValueError, OverflowError, StatementError) as error:
        words = str(error).split("\n")[0][:200]
        raise _bad(f"The export lacks something or holds it in another form: {words}.") from error


def _write(person_export: Mapping[str, Any], who: str, although_erased: bool, connection: Connection) -> str:
    one = dict(person_export["person"])
    uid = str(one["uid"])
    _check_free(person_export, uid, although_erased, connection)
    connection.execute(delete(person).where(person.c.uid == uid))
    _insert(connection, person, [{**one, "erased_utc_ns": None}])
    for name, table in ENTRIES.items():
        _insert(connection, table, [{**row, "person_uid": uid} for row in person_export.get(name, [])])
    rigs = {row["sha256"]: _id_of_content(connection, rig, row) for row in person_export["rigs"]}
    calibrations = {
        row["sha256"]: _id_of_content(connection, calibration, row) for row in person_export["calibrations"]
    }
    _insert(
        connection,
        session,
        [
            {
                **without(row, "rig", "calibration"),
                "person_uid": uid,
                "rig_id": rigs[row["rig"]],
                "calibration_id": None if row["calibration"] is None else calibrations[row["calibration"]],
            }
            for row in person_export["sessions"]
        ],
    )
    mine = select(session.c.uid, session.c.id).where(session.c.person_uid == uid)
    id_of = {row.uid: row.id for row in connection.execute(mine)}
    for row in person_export["holds"]:
        HoldResult.from_dict(row["result"])
    _insert(
        connection,
        marker,
        [{**without(row, "session"), "session_id": id_of[row["session"]]} for row in person_export.get("markers", [])],
    )
    number_to_id: dict[int, int] = {}
    for row in person_export["corrections"]:
        values = {**without(row, "number", "session"), "session_id": id_of[row["session"]]}
        _check_columns(correction, values)
        made = connection.execute(insert(correction).values(**values).returning(correction.c.id)).scalar_one()
        number_to_id[row["number"]] = int(made)
    _insert(
        connection,
        hold,
        [
            {
                **without(row, "session"),
                "session_id": id_of[row["session"]],
                "person_uid": uid,
                "made_by": None if row["made_by"] is None else number_to_id[row["made_by"]],
            }
            for row in person_export["holds"]
        ],
    )
    for name, rows in person_export["of_holds"].items():
        if name not in OF_HOLDS:
            raise _bad(f"The export has {str(name)[:40]!r}, which this program does not know.")
        _insert(connection, OF_HOLDS[name], rows)
    audit_row(who, "import of a person", uid, connection)
    return uid


def _uids(person_export: Mapping[str, Any]) -> set[str]:
    return {row["uid"] for row in person_export["sessions"]}


def _check_free(person_export: Mapping[str, Any], uid: str, although_erased: bool, connection: Connection) -> None:
    existing = connection.execute(select(person.c.erased_utc_ns).where(person.c.uid == uid)).first()
    if existing is not None and existing.erased_utc_ns is None:
        raise _is_here(f"The person {uid[:80]} is here already.")
    if existing is not None and not although_erased:
        raise PersonWasErased(
            what=f"The person {uid[:80]} was erased here.",
            means="What was erased does not come back by itself; nothing was imported.",
            do="If the person wants to be kept here again, import once more and say so (--although-erased).",
        )
    for table, uids in ((session, _uids(person_export)), (hold, {row["uid"] for row in person_export["holds"]})):
        column = table.c.uid
        for part in _parts(sorted(uids)):
            taken = connection.execute(select(column).where(column.in_(part))).scalars().first()
            if taken is not None:
                raise _is_here(f"The {table.name} {taken} is here already, of somebody else or of a guest.")


def _parts(values: Sequence[str], size: int = 500) -> list[Sequence[str]]:
    return [values[k : k + size] for k in range(0, len(values), size)]


def _insert(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    if not rows:
        return
    for row in rows:
        _check_columns(table, row)
    connection.execute(insert(table), [dict(row) for row in rows])


LISTS = ("symptoms", "tried")
"""Columns of JSON that hold lists; all others hold objects."""


def _check_columns(table: Table, row: Mapping[str, Any]) -> None:
    """Refuse a row whose columns are strange or missing, or whose values are of another kind."""
    strange = sorted(set(row) - set(table.c.keys()))
    if strange:
        raise _bad(f"The export's {table.name} has {strange[0]!r}, which this program does not know.")
    for column in table.c:
        value = row.get(column.name)
        given_here = column.primary_key and isinstance(column.type, Integer)
        if value is None:
            if not (column.nullable or given_here or (column.name not in row and column.default is not None)):
                raise _bad(f"The export's {table.name} lacks {column.name!r}.")
        elif not _fits(column, value):
            raise _bad(f"The export's {table.name} has {str(value)[:40]!r} as {column.name}.")


def _fits(column: Column[Any], value: Any) -> bool:
    if isinstance(column.type, JSON):
        return isinstance(value, list if column.name in LISTS else dict)
    kind = column.type.python_type
    if kind is int:
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**63
    if kind is float:
        return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < LARGEST
    return isinstance(value, kind)


LARGEST = 1e300


def _id_of_content(connection: Connection, table: Table, row: Mapping[str, Any]) -> int:
    row = {**row, "created_utc_ns": time.time_ns()}
    _check_columns(table, row)
    # A row is found by its hash: a false one would stand for the rig of everybody who comes later.
    if fingerprint(row["description" if table is rig else "content"]) != row["sha256"]:
        raise _bad(f"The export's {table.name} is not what its hash says.")
    existing = connection.execute(select(table.c.id).where(table.c.sha256 == row["sha256"])).scalar_one_or_none()
    if existing is None:
        new = insert(table).values(**row)
        existing = connection.execute(new.returning(table.c.id)).scalar_one()
    return int(existing)


def _is_here(what: str) -> PersonIsHere:
    return PersonIsHere(
        what=what,
        means="Two records would be mixed up, so nothing was imported.",
        do="Look at who is here (hang-monitor person list); erase the one that is to be replaced first.",
    )


def _bad(what: str) -> BadPersonExport:
    return BadPersonExport(
        what=what,
        means="Nothing was imported; what is stored is untouched.",
        do="Take an archive as this program wrote it, or bring the program up to date.",
    )
