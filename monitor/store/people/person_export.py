"""Everything that the store holds about one person, as plain data.

The rows are those of the tables, so that a column that is added later is included without further work. What is only
numbered within one database (corrections) is numbered anew within the export; uids stay what they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, select

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
from monitor.store.people.people import need_person
from monitor.store.store import Store

FORMAT = 3
"""Raised when an export can no longer be read as before; columns may come and go without that.

2: with markers. 3: ``sessions`` and ``session`` instead of ``stays`` and ``stay``.
"""

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


def hold_column(table: Table) -> Any:
    """Return the column by which a table's rows belong to a hold."""
    return next(key.parent for key in table.foreign_keys if key.column is hold.c.uid)


def journal_places(store: Store, uid: str) -> list[str]:
    """Return the places of a person's journals, relative to the data folder.

    Raises
    ------
    UnknownPerson
    """
    with store._read() as connection:
        need_person(connection, uid)
        query = select(session.c.journal).where(session.c.person_uid == uid).order_by(session.c.journal)
        return list(connection.execute(query).scalars())


def read_person_export(store: Store, uid: str) -> dict[str, Any]:
    """Return everything that is stored about a person, including corrected, hidden and withdrawn holds.

    Raises
    ------
    UnknownPerson
    """
    with store._read() as connection:
        need_person(connection, uid)
        one = _rows(connection, person, person.c.uid == uid)[0]
        entries = {
            name: [without(row, "id", "person_uid") for row in _rows(connection, table, table.c.person_uid == uid)]
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
            name: [without(row, "id") for row in _rows(connection, table, hold_column(table).in_(my_holds))]
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
        "rigs": sorted((without(row, "id", "created_utc_ns") for row in rigs), key=lambda r: r["sha256"]),
        "calibrations": sorted(
            (without(row, "id", "created_utc_ns") for row in calibrations), key=lambda r: r["sha256"]
        ),
        "sessions": [
            {
                **without(row, "id", "person_uid", "rig_id", "calibration_id"),
                "rig": rig_of[row["rig_id"]],
                "calibration": calibration_of.get(row["calibration_id"]),
            }
            for row in sorted(sessions, key=lambda r: (r["started_utc_ns"], r["uid"]))
        ],
        "corrections": [
            {**without(row, "id", "session_id"), "number": number_of[row["id"]], "session": uid_of[row["session_id"]]}
            for row in corrections
        ],
        "holds": [
            {
                **without(row, "session_id", "person_uid", "made_by"),
                "session": uid_of[row["session_id"]],
                "made_by": number_of.get(row["made_by"]),
            }
            for row in sorted(holds, key=lambda r: (r["onset_utc_ns"], r["uid"]))
        ],
        "of_holds": of_holds,
        "markers": [{**without(row, "id", "session_id"), "session": uid_of[row["session_id"]]} for row in markers],
    }


def _rows(connection: Connection, table: Table, where: Any) -> list[dict[str, Any]]:
    query = select(table).where(where).order_by(*table.primary_key.columns)
    return [dict(row) for row in connection.execute(query).mappings()]


def without(row: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """Return a row without some of its columns."""
    return {key: value for key, value in row.items() if key not in names}
