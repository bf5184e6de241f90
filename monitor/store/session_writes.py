"""Sessions in the database: how they are selected, begun and ended."""

from __future__ import annotations

import time
from collections.abc import Mapping
from functools import partial
from typing import Any

from sqlalchemy import Connection, Select, Table, insert, select, update

from monitor.records.plain_data import plain
from monitor.store.database.schema import calibration, rig, session
from monitor.store.database.writer import Job
from monitor.store.errors import SessionExists, UnknownSession
from monitor.store.files.folder import journal_place
from monitor.store.holds.rows import calibration_date, fingerprint
from monitor.store.people.people import need_person


def select_sessions() -> Select[Any]:
    """Select sessions with their rig and calibration."""
    query = select(session, rig.c.description.label("rig"), calibration.c.content.label("calibration"))
    return query.join(rig, session.c.rig_id == rig.c.id).outerjoin(
        calibration, session.c.calibration_id == calibration.c.id
    )


def session_row(connection: Connection, uid: str) -> tuple[int, str | None]:
    """Return a session's id and person; raises ``UnknownSession``."""
    existing = connection.execute(select(session.c.id, session.c.person_uid).where(session.c.uid == uid)).first()
    if existing is None:
        raise UnknownSession(
            what=f"There is no session {uid}.",
            means="A hold or an end cannot be kept without the session that it belongs to.",
            do="Begin the session first.",
        )
    return existing.id, existing.person_uid


def _id_of_content(connection: Connection, table: Table, data: Any, **values: Any) -> int:
    """Return the id of the row with this content, made where it is new."""
    sha256 = fingerprint(data)
    existing = connection.execute(select(table.c.id).where(table.c.sha256 == sha256)).scalar_one_or_none()
    if existing is not None:
        return int(existing)
    row = insert(table).values(sha256=sha256, created_utc_ns=time.time_ns(), **values).returning(table.c.id)
    return int(connection.execute(row).scalar_one())


def begin_job(
    uid: str,
    started_utc_ns: int,
    rig: Mapping[str, Any],
    calibration: Mapping[str, Any] | None,
    person_uid: str | None,
    journal: str | None = None,
) -> Job[None]:
    """Return the write that begins a session."""
    place = str(journal_place(uid, started_utc_ns)) if journal is None else journal
    calibration_data = None if calibration is None else plain(calibration)
    return partial(_begin_session, uid, started_utc_ns, place, plain(rig), calibration_data, person_uid)


def end_job(
    uid: str,
    ended_utc_ns: int,
    clock_rate: float | None,
    quality: Mapping[str, Any] | None,
    interrupted: bool,
) -> Job[None]:
    """Return the write that ends a session."""
    values = {
        "ended_utc_ns": int(ended_utc_ns),
        "clock_rate": plain(clock_rate),
        "quality": None if quality is None else plain(quality),
        "interrupted": bool(interrupted),
    }
    return partial(_end_session, uid, values)


def _begin_session(
    uid: str,
    started_utc_ns: int,
    journal: str,
    rig_data: Any,
    calibration_data: Any,
    person_uid: str | None,
    connection: Connection,
) -> None:
    if person_uid is not None:
        need_person(connection, person_uid)
    if connection.execute(select(session.c.id).where(session.c.uid == uid)).first() is not None:
        raise SessionExists(
            what=f"There is a session {uid} already.",
            means="Two sessions would share one journal; nothing was changed.",
            do="Leave the uid out, or take a new one.",
        )
    calibration_id = None
    if calibration_data is not None:
        dated = calibration_date(calibration_data)
        calibration_id = _id_of_content(
            connection, calibration, calibration_data, content=calibration_data, dated=dated
        )
    connection.execute(
        insert(session).values(
            uid=uid,
            started_utc_ns=int(started_utc_ns),
            journal=journal,
            rig_id=_id_of_content(connection, rig, rig_data, description=rig_data),
            calibration_id=calibration_id,
            person_uid=person_uid,
            interrupted=False,
        )
    )


def _end_session(uid: str, values: dict[str, Any], connection: Connection) -> None:
    connection.execute(update(session).where(session.c.id == session_row(connection, uid)[0]).values(**values))
