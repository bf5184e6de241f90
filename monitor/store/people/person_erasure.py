"""A person erased from the database."""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, or_, select

from monitor.store.audit import audit_row
from monitor.store.database.schema import calibration, correction, hold, marker, person, rig, session
from monitor.store.people.people import need_person
from monitor.store.people.person_export import ENTRIES, OF_HOLDS, hold_column
from monitor.store.store import Store


@dataclass(frozen=True, slots=True)
class Erased:
    """How many rows of each table an erasure took away."""

    person_uid: str
    at_utc_ns: int
    rows: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self)


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
        take(table, hold_column(table).in_(my_holds))
    take(hold, or_(hold.c.person_uid == uid, hold.c.session_id.in_(mine)))
    take(correction, correction.c.session_id.in_(mine))
    take(marker, marker.c.session_id.in_(mine))
    take(session, session.c.person_uid == uid)
    for table in ENTRIES.values():
        take(table, table.c.person_uid == uid)
    now_ns = time.time_ns()
    if keep_row:
        connection.execute(delete(person).where(person.c.uid == uid))
        empty_row = {
            "uid": uid,
            "name": "",
            "created_utc_ns": now_ns,
            "changed_utc_ns": now_ns,
            "erased_utc_ns": now_ns,
        }
        connection.execute(insert(person).values(**empty_row))
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
