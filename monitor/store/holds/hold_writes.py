"""Holds in the database: how they are selected, saved and withdrawn."""

from __future__ import annotations

import time
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from monitor.records.stored_hold import StoredHold
from monitor.store.database.schema import hold, session
from monitor.store.holds.corrections import has_corrections, refresh_session
from monitor.store.holds.earlier_results import keep_earlier
from monitor.store.holds.rows import hold_of_row
from monitor.store.session_writes import session_row


def select_holds() -> Select[Any]:
    """Select holds that were not withdrawn, with the uid of their session."""
    query = select(hold, session.c.uid.label("session_uid")).join(session, hold.c.session_id == session.c.id)
    return query.where(hold.c.withdrawn_utc_ns.is_(None))


def select_listed_holds() -> Select[Any]:
    """Select the holds of every list: neither withdrawn nor hidden by a correction."""
    return select_holds().where(hold.c.hidden.is_(None))


def save_hold(new: StoredHold, columns: dict[str, Any], connection: Connection) -> StoredHold:
    """Insert or revise a hold and return it as stored."""
    now_utc_ns = time.time_ns()
    session_id, person_uid = session_row(connection, new.session_uid)
    columns = {**columns, "session_id": session_id}
    old = connection.execute(select(hold).where(hold.c.uid == new.uid)).mappings().first()
    if old is None:
        row = insert(hold).values(
            uid=new.uid,
            revised=0,
            created_utc_ns=now_utc_ns,
            changed_utc_ns=now_utc_ns,
            corrected_kind=columns["kind"],
            person_uid=person_uid,
            target_s=new.target_s,
            ending=new.ending,
            **columns,
        )
        connection.execute(row)
    else:
        differing = {key for key, value in columns.items() if old[key] != value}
        if differing or old["withdrawn_utc_ns"] is not None:
            # A better clock moves the instant in UTC, which is for display; that alone revises no number.
            numbers = bool(differing - {"onset_utc_ns", "utc_offset_s"})
            columns.update(revised=old["revised"] + numbers, changed_utc_ns=now_utc_ns, withdrawn_utc_ns=None)
            columns["corrected_kind"] = columns["kind"]
            if old["measurement_version"] != columns["measurement_version"]:
                keep_earlier(dict(old), connection)
            connection.execute(update(hold).where(hold.c.uid == new.uid).values(**columns))
    if has_corrections(connection, session_id):
        refresh_session(connection, session_id)
    stored = connection.execute(select_holds().where(hold.c.uid == new.uid)).mappings().one()
    return hold_of_row(stored)


def withdraw_hold(uid: str, connection: Connection) -> bool:
    """Withdraw a hold; return whether there was one."""
    there = (hold.c.uid == uid) & hold.c.withdrawn_utc_ns.is_(None)
    done = connection.execute(update(hold).where(there).values(withdrawn_utc_ns=time.time_ns())).rowcount == 1
    session_id = connection.execute(select(hold.c.session_id).where(hold.c.uid == uid)).scalar_one_or_none()
    if done and session_id is not None and has_corrections(connection, session_id):
        refresh_session(connection, session_id)
    return done
