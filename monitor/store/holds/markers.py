"""Markers: what a coach noted of an instant of a session. They stand beside the measurement and can be taken back."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from monitor.errors import MonitorError
from monitor.records.marker import Marker, MarkerKind
from monitor.store.audit import audit_row
from monitor.store.database.schema import marker, session
from monitor.store.database.writer import Writer
from monitor.store.errors import UnknownSession

Read = Callable[[], AbstractContextManager[Connection]]


class UnknownMarker(MonitorError):
    """There is no such marker, or it has been taken back already, or stands already."""

    code = "unknown-marker"


class Markers:
    """Part of the store: ``store.markers``."""

    def __init__(self, read: Read, writer: Writer) -> None:
        self._read = read
        self._writer = writer

    def add(
        self, session_uid: str, kind: MarkerKind, at_s: float, *, text: str = "", pain: int | None = None, made_by: str
    ) -> Marker:
        """Keep a marker.

        Raises
        ------
        UnknownSession
        """
        values = {"kind": kind, "at_s": float(at_s), "text": text, "pain": pain, "made_by": made_by[:120]}
        return self._writer.submit(partial(_add, session_uid, values)).result()

    def of_session(self, session_uid: str, *, removed: bool = False) -> list[Marker]:
        """Return a session's markers in the order of their instants; those that were taken back on wish only."""
        query = _markers().where(session.c.uid == session_uid).order_by(marker.c.at_s, marker.c.id)
        if not removed:
            query = query.where(marker.c.removed_utc_ns.is_(None))
        with self._read() as connection:
            return [Marker(**row) for row in connection.execute(query).mappings()]

    def get(self, number: int) -> Marker:
        """Return a marker, taken back or not.

        Raises
        ------
        UnknownMarker
        """
        with self._read() as connection:
            return _one(connection, number)

    def remove(self, number: int, by: str) -> Marker:
        """Take a marker back; the row stays.

        Raises
        ------
        UnknownMarker
        """
        return self._writer.submit(partial(_turn, number, by, True)).result()

    def restore(self, number: int, by: str) -> Marker:
        """Put a marker that was taken back in its place again.

        Raises
        ------
        UnknownMarker
        """
        return self._writer.submit(partial(_turn, number, by, False)).result()


def _markers() -> Select[Any]:
    columns = [c for c in marker.c if c.name != "session_id"]
    return select(*columns, session.c.uid.label("session_uid")).join(session, marker.c.session_id == session.c.id)


def _one(connection: Connection, number: int) -> Marker:
    row = connection.execute(_markers().where(marker.c.id == number)).mappings().first()
    if row is None:
        raise _unknown(f"There is no marker {number}.")
    return Marker(**row)


def _add(session_uid: str, values: dict[str, Any], connection: Connection) -> Marker:
    session_id = connection.execute(select(session.c.id).where(session.c.uid == session_uid)).scalar_one_or_none()
    if session_id is None:
        raise UnknownSession(
            what=f"There is no session {session_uid[:80]!r}.",
            means="The marker was not kept.",
            do="Mark a hold that is in the list, or somebody who is on the rig.",
        )
    row = insert(marker).values(session_id=session_id, made_utc_ns=time.time_ns(), **values)
    number = int(connection.execute(row.returning(marker.c.id)).scalar_one())
    return _one(connection, number)


def _turn(number: int, by: str, remove: bool, connection: Connection) -> Marker:
    there = marker.c.removed_utc_ns.is_(None) if remove else marker.c.removed_utc_ns.is_not(None)
    values = {"removed_utc_ns": time.time_ns() if remove else None, "removed_by": by[:120] if remove else None}
    if connection.execute(update(marker).where((marker.c.id == number) & there).values(**values)).rowcount != 1:
        raise _unknown(f"There is no marker {number} that could be {'taken back' if remove else 'put back'}.")
    made = _one(connection, number)
    audit_row(by, "marker taken back" if remove else "marker put back", f"{made.session_uid} #{number}", connection)
    return made


def _unknown(what: str) -> UnknownMarker:
    return UnknownMarker(what=what, means="Nothing was changed.", do="Look at the list of the session's markers.")
