"""Everything that the store keeps of one person, as plain data: read, put back elsewhere, erased.

A dossier holds rows as the tables have them, so that a column that is added later travels by itself. What is only
numbered within one database (corrections) is numbered anew within the dossier; uids stay what they are.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from sqlalchemy import JSON, Column, Connection, Integer, Table, delete, insert, or_, select
from sqlalchemy.exc import DataError, IntegrityError, StatementError

from monitor.errors import MonitorError
from monitor.records.hold_result import HoldResult
from monitor.store.audit import audit_row
from monitor.store.database.schema import (
    calibration,
    correction,
    hold,
    intake,
    manual_hang,
    marker,
    metadata,
    pain_entry,
    person,
    programme,
    rig,
    session,
    swing_calibration,
)
from monitor.store.errors import DatabaseNotWritten
from monitor.store.holds.rows import fingerprint
from monitor.store.people.people import need_person
from monitor.store.store import Store

FORMAT = 2
"""Raised when a dossier can no longer be read as before; columns may come and go without that. 2: with markers."""

READABLE = (1, 2)

ENTRIES: dict[str, Table] = {
    "intakes": intake,
    "pains": pain_entry,
    "programmes": programme,
    "manual_hangs": manual_hang,
    "swing_calibrations": swing_calibration,
}
"""Tables of entries about a person that nothing else refers to."""

OF_HOLDS: dict[str, Table] = {
    table.name: table
    for table in metadata.sorted_tables
    if table is not hold and any(key.column is hold.c.uid for key in table.foreign_keys)
}
"""Tables whose rows belong to a hold by its uid."""


def _hold_column(table: Table) -> Any:
    return next(key.parent for key in table.foreign_keys if key.column is hold.c.uid)


class PersonIsHere(MonitorError):
    """A dossier's person, or one of its sessions or holds, is in the store already."""

    code = "person-is-here"


class PersonWasErased(MonitorError):
    """A dossier's person was erased from this store."""

    code = "person-was-erased"


class BadPersonExport(MonitorError):
    """A dossier does not hold what it must, or is of a newer program."""

    code = "bad-person-export"


@dataclass(frozen=True, slots=True)
class Erased:
    """How many rows of each table an erasure took away."""

    person_uid: str
    at_utc_ns: int
    rows: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self)


def journal_places(store: Store, uid: str) -> list[str]:
    """Return where the journals of a person's stays lie, relative to the data folder.

    Raises
    ------
    UnknownPerson
    """
    with store._read() as connection:
        need_person(connection, uid)
        query = select(session.c.journal).where(session.c.person_uid == uid).order_by(session.c.journal)
        return list(connection.execute(query).scalars())


def read_person_export(store: Store, uid: str) -> dict[str, Any]:
    """Return everything that is kept of a person, corrected, hidden and withdrawn holds too.

    Raises
    ------
    UnknownPerson
    """
    with store._read() as connection:
        need_person(connection, uid)
        one = _rows(connection, person, person.c.uid == uid)[0]
        entries = {
            name: [_without(row, "id", "person_uid") for row in _rows(connection, table, table.c.person_uid == uid)]
            for name, table in ENTRIES.items()
        }
        sessions = _rows(connection, session, session.c.person_uid == uid)
        mine = select(session.c.id).where(session.c.person_uid == uid)
        uid_of = {row["id"]: row["uid"] for row in sessions}
        corrections = _rows(connection, correction, correction.c.session_id.in_(mine))
        markers = _rows(connection, marker, marker.c.session_id.in_(mine))
        number_of = {row["id"]: number for number, row in enumerate(corrections, start=1)}
        holds = _rows(connection, hold, hold.c.session_id.in_(mine))
        my_holds = select(hold.c.uid).where(hold.c.session_id.in_(mine))
        of_holds = {
            name: [_without(row, "id") for row in _rows(connection, table, _hold_column(table).in_(my_holds))]
            for name, table in OF_HOLDS.items()
        }
        rigs = _rows(connection, rig, rig.c.id.in_({row["rig_id"] for row in sessions}))
        calibration_ids = {row["calibration_id"] for row in sessions} - {None}
        calibrations = _rows(connection, calibration, calibration.c.id.in_(calibration_ids))
    rig_of = {row["id"]: row["sha256"] for row in rigs}
    calibration_of = {row["id"]: row["sha256"] for row in calibrations}
    return {
        "format": FORMAT,
        "person": one,
        **entries,
        "rigs": sorted((_without(row, "id", "created_utc_ns") for row in rigs), key=lambda r: r["sha256"]),
        "calibrations": sorted(
            (_without(row, "id", "created_utc_ns") for row in calibrations), key=lambda r: r["sha256"]
        ),
        "sessions": [
            {
                **_without(row, "id", "person_uid", "rig_id", "calibration_id"),
                "rig": rig_of[row["rig_id"]],
                "calibration": calibration_of.get(row["calibration_id"]),
            }
            for row in sorted(sessions, key=lambda r: (r["started_utc_ns"], r["uid"]))
        ],
        "corrections": [
            {**_without(row, "id", "session_id"), "number": number_of[row["id"]], "session": uid_of[row["session_id"]]}
            for row in corrections
        ],
        "holds": [
            {
                **_without(row, "session_id", "person_uid", "made_by"),
                "session": uid_of[row["session_id"]],
                "made_by": number_of.get(row["made_by"]),
            }
            for row in sorted(holds, key=lambda r: (r["onset_utc_ns"], r["uid"]))
        ],
        "of_holds": of_holds,
        "markers": [{**_without(row, "id", "session_id"), "session": uid_of[row["session_id"]]} for row in markers],
    }


def write_person_export(
    store: Store, person_export: Mapping[str, Any], *, who: str = "command line", although_erased: bool = False
) -> str:
    """Put a dossier into a store, all of it or nothing; return the person's uid.

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
    if person_export.get("format") not in READABLE:
        raise _bad(
            f"The dossier has the format {str(person_export.get('format'))[:20]!r}; this program knows {FORMAT}."
        )
    try:
        return store._writer.submit(partial(_write, person_export, who, although_erased)).result()
    except DatabaseNotWritten as error:
        if isinstance(error.__cause__, (IntegrityError, DataError)):
            raise _bad(f"The dossier does not fit together: {error.__cause__.orig}.") from error
        raise
    except (KeyError, TypeError, AttributeError, ValueError, OverflowError, StatementError) as error:
        words = str(error).split("\n")[0][:200]
        raise _bad(f"The dossier lacks something or holds it in another form: {words}.") from error


def erase_person(store: Store, uid: str, *, who: str = "command line", keep_row: bool = True) -> Erased:
    """Erase everything that the database keeps of a person.

    Journals are the caller's to delete, and before this: what is begun anew after a crash must find them again.

    In SQLite the file is then written anew, which takes seconds for very many holds. Only the meaningless uid stays, in
    an empty row and in the audit list, so that it is never given to somebody else.

    Parameters
    ----------
    keep_row : bool
        False takes that row away as well, and rigs and calibrations that nobody else used: for invented people.

    Raises
    ------
    UnknownPerson
    """
    erased = store._writer.submit(partial(_erase, uid, who, keep_row)).result()
    _rewrite_file(store)
    return erased


def _rows(connection: Connection, table: Table, where: Any) -> list[dict[str, Any]]:
    query = select(table).where(where).order_by(*table.primary_key.columns)
    return [dict(row) for row in connection.execute(query).mappings()]


def _without(row: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in names}


# Writing


def _write(person_export: Mapping[str, Any], who: str, although_erased: bool, connection: Connection) -> str:
    one = dict(person_export["person"])
    uid = str(one["uid"])
    _check_free(person_export, uid, although_erased, connection)
    connection.execute(delete(person).where(person.c.uid == uid))
    _insert(connection, person, [{**one, "erased_utc_ns": None}])
    for name, table in ENTRIES.items():
        _insert(connection, table, [{**row, "person_uid": uid} for row in person_export.get(name, [])])
    rigs = {row["sha256"]: _kept_once(connection, rig, row) for row in person_export["rigs"]}
    calibrations = {row["sha256"]: _kept_once(connection, calibration, row) for row in person_export["calibrations"]}
    _insert(
        connection,
        session,
        [
            {
                **_without(row, "rig", "calibration"),
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
        [{**_without(row, "session"), "session_id": id_of[row["session"]]} for row in person_export.get("markers", [])],
    )
    number_to_id: dict[int, int] = {}
    for row in person_export["corrections"]:
        values = {**_without(row, "number", "session"), "session_id": id_of[row["session"]]}
        _check_columns(correction, values)
        made = connection.execute(insert(correction).values(**values).returning(correction.c.id)).scalar_one()
        number_to_id[row["number"]] = int(made)
    _insert(
        connection,
        hold,
        [
            {
                **_without(row, "session"),
                "session_id": id_of[row["session"]],
                "person_uid": uid,
                "made_by": None if row["made_by"] is None else number_to_id[row["made_by"]],
            }
            for row in person_export["holds"]
        ],
    )
    for name, rows in person_export["of_holds"].items():
        if name not in OF_HOLDS:
            raise _bad(f"The dossier has {str(name)[:40]!r}, which this program does not know.")
        _insert(connection, OF_HOLDS[name], rows)
    audit_row(who, "import of a person", uid, connection)
    return uid


def _uids(person_export: Mapping[str, Any]) -> set[str]:
    return {row["uid"] for row in person_export["sessions"]}


def _check_free(person_export: Mapping[str, Any], uid: str, although_erased: bool, connection: Connection) -> None:
    found = connection.execute(select(person.c.erased_utc_ns).where(person.c.uid == uid)).first()
    if found is not None and found.erased_utc_ns is None:
        raise _is_here(f"The person {uid[:80]} is here already.")
    if found is not None and not although_erased:
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
        raise _bad(f"The dossier's {table.name} has {strange[0]!r}, which this program does not know.")
    for column in table.c:
        value = row.get(column.name)
        given_here = column.primary_key and isinstance(column.type, Integer)
        if value is None:
            if not (column.nullable or given_here or (column.name not in row and column.default is not None)):
                raise _bad(f"The dossier's {table.name} lacks {column.name!r}.")
        elif not _fits(column, value):
            raise _bad(f"The dossier's {table.name} has {str(value)[:40]!r} as {column.name}.")


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


def _kept_once(connection: Connection, table: Table, row: Mapping[str, Any]) -> int:
    row = {**row, "created_utc_ns": time.time_ns()}
    _check_columns(table, row)
    # A row is found by its hash: a false one would stand for the rig of everybody who comes later.
    if fingerprint(row["description" if table is rig else "content"]) != row["sha256"]:
        raise _bad(f"The dossier's {table.name} is not what its hash says.")
    found = connection.execute(select(table.c.id).where(table.c.sha256 == row["sha256"])).scalar_one_or_none()
    if found is None:
        new = insert(table).values(**row)
        found = connection.execute(new.returning(table.c.id)).scalar_one()
    return int(found)


# Erasing


def _erase(uid: str, who: str, keep_row: bool, connection: Connection) -> Erased:
    need_person(connection, uid)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("PRAGMA secure_delete=ON")
    mine = select(session.c.id).where(session.c.person_uid == uid).scalar_subquery()
    rows: dict[str, int] = {}

    def take(table: Table, where: Any) -> None:
        rows[table.name] = rows.get(table.name, 0) + connection.execute(delete(table).where(where)).rowcount

    my_holds = select(hold.c.uid).where(or_(hold.c.person_uid == uid, hold.c.session_id.in_(mine)))
    for table in OF_HOLDS.values():
        take(table, _hold_column(table).in_(my_holds))
    take(hold, or_(hold.c.person_uid == uid, hold.c.session_id.in_(mine)))
    take(correction, correction.c.session_id.in_(mine))
    take(marker, marker.c.session_id.in_(mine))
    take(session, session.c.person_uid == uid)
    for table in ENTRIES.values():
        take(table, table.c.person_uid == uid)
    now_ns = time.time_ns()
    if keep_row:
        connection.execute(delete(person).where(person.c.uid == uid))
        kept = {"uid": uid, "name": "", "created_utc_ns": now_ns, "changed_utc_ns": now_ns, "erased_utc_ns": now_ns}
        connection.execute(insert(person).values(**kept))
        rows[person.name] = 1
    else:
        take(person, person.c.uid == uid)
        take(rig, rig.c.id.not_in(select(session.c.rig_id)))
        used = select(session.c.calibration_id).where(session.c.calibration_id.is_not(None))
        take(calibration, calibration.c.id.not_in(used))
    audit_row(who, "erasure of a person", uid, connection)
    return Erased(uid, now_ns, rows)


def _rewrite_file(store: Store) -> None:
    """Write SQLite's file anew and cut its log, so that no copy of what was deleted is left in the gaps of pages."""
    engine = store._engines[0]
    if engine.dialect.name != "sqlite":
        return
    # Below SQLAlchemy, because a connection of its own begins a transaction, in which neither can be done.
    connection = engine.raw_connection()
    try:
        for command in ("VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
            connection.cursor().execute(command)
    finally:
        connection.close()


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
