"""Corrections: made, undone, and worked into what the lists show. The measurement itself is never touched."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from typing import Any

from sqlalchemy import Connection, Select, delete, insert, select, update

from monitor.records.correction import CORRECTION_KINDS, Correction, CorrectionKind
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold
from monitor.store.audit import audit_row
from monitor.store.database.schema import correction, hold, session
from monitor.store.database.writer import Writer
from monitor.store.errors import CorrectionNotPossible, UnknownCorrection, UnknownHold
from monitor.store.holds.corrected_holds import CorrectedHolds, corrected_holds
from monitor.store.holds.rows import hold_columns, hold_of_row

Read = Callable[[], AbstractContextManager[Connection]]


class Corrections:
    """Part of the store: ``store.corrections``."""

    def __init__(self, read: Read, writer: Writer) -> None:
        self._read = read
        self._writer = writer

    def make(
        self,
        hold_uid: str,
        kind: CorrectionKind,
        content: dict[str, Any] | None = None,
        *,
        reason: str,
        made_by: str = "coach",
    ) -> Correction:
        """Correct a hold; see ``Correction`` for what ``content`` holds.

        Raises
        ------
        UnknownHold
        CorrectionNotPossible
            It does not fit the hold, or no reason is given.
        """
        if kind not in CORRECTION_KINDS or not reason.strip():
            raise _not_possible(
                f"There is no correction {kind!r}." if reason.strip() else "A correction without a reason was given."
            )
        job = partial(_make, hold_uid, kind, plain(content or {}), reason.strip(), made_by)
        return self._writer.submit(job).result()

    def undo(self, number: int, undone_by: str = "coach") -> Correction:
        """Take a correction back. Those that rested on it are void until it is made again; they are kept.

        Raises
        ------
        UnknownCorrection
        """
        return self._writer.submit(partial(_undo, number, undone_by)).result()

    def undo_last(self, hold_uid: str, undone_by: str = "coach") -> Correction:
        """Take back the newest correction in force that concerns a hold, be it measured or made by a correction.

        Raises
        ------
        UnknownCorrection
        """

        def job(connection: Connection) -> Correction:
            made_by = select(hold.c.made_by).where(hold.c.uid == hold_uid).scalar_subquery()
            concerned = (correction.c.hold_uid == hold_uid) | (correction.c.id == made_by)
            query = select(correction.c.id).where(concerned & correction.c.undone_utc_ns.is_(None))
            row_id = connection.execute(query.order_by(correction.c.id.desc())).scalar()
            if row_id is None:
                # A hold that was joined into its predecessor is named in the content only.
                row_id = next(
                    (c.id for c in reversed(_of_hold_session(connection, hold_uid)) if _names(c, hold_uid)), None
                )
            if row_id is None:
                raise _unknown(f"No correction of {hold_uid[:80]!r} is in force.")
            return _undo(int(row_id), undone_by, connection)

        return self._writer.submit(job).result()

    def of_hold(self, hold_uid: str) -> list[Correction]:
        """Return every correction that was made of a hold, undone ones too, oldest first."""
        with self._read() as connection:
            return [c for c in _of_hold_session(connection, hold_uid) if c.hold_uid == hold_uid or _names(c, hold_uid)]

    def of_session(self, session_uid: str) -> list[Correction]:
        """Return every correction that was made of a session's holds, undone ones too, oldest first."""
        query = _corrections().where(session.c.uid == session_uid).order_by(correction.c.id)
        with self._read() as connection:
            return [Correction(**row) for row in connection.execute(query).mappings()]

    def set_content(self, number: int, content: dict[str, Any]) -> None:
        """Keep a correction's content as it was measured once more.

        Raises
        ------
        UnknownCorrection
        """
        if not self._writer.submit(partial(_set_content, number, plain(content))).result():
            raise _unknown(f"There is no correction {number}.")

    def recent(self, limit: int = 100) -> list[Correction]:
        """Return corrections, newest first."""
        with self._read() as connection:
            rows = connection.execute(_corrections().order_by(correction.c.id.desc()).limit(limit)).mappings()
            return [Correction(**row) for row in rows]

    def get(self, number: int) -> Correction:
        """Return a correction, undone or not.

        Raises
        ------
        UnknownCorrection
        """
        with self._read() as connection:
            row = connection.execute(_corrections().where(correction.c.id == number)).mappings().first()
        if row is None:
            raise _unknown(f"There is no correction {number}.")
        return Correction(**row)

    def corrected(self, session_uid: str) -> CorrectedHolds:
        """Return a session's holds as everyone sees them, with what is hidden and which corrections are void."""
        with self._read() as connection:
            row_id = connection.execute(select(session.c.id).where(session.c.uid == session_uid)).scalar_one_or_none()
            return CorrectedHolds([]) if row_id is None else _corrected(connection, int(row_id))

    def measured(self, hold_uid: str) -> StoredHold | None:
        """Return a hold as it was measured, whatever was corrected."""
        query = _measured().where(hold.c.uid == hold_uid)
        with self._read() as connection:
            row = connection.execute(query).mappings().first()
        return None if row is None else _as_measured(dict(row))

    def set_ending(self, hold_uid: str, ending: str | None) -> None:
        """Say why a hold ended: ``exhausted``, ``target``, ``other`` or None where nobody said.

        Raises
        ------
        UnknownHold
        """
        job = update(hold).where(hold.c.uid == hold_uid).values(ending=ending)
        if self._writer.submit(lambda connection: connection.execute(job).rowcount).result() != 1:
            raise _unknown_hold(hold_uid)


def refresh_session(connection: Connection, session_id: int) -> None:
    """Work a session's corrections into the columns and rows that lists read. Part of the caller's transaction."""
    corrected = _corrected(connection, session_id)
    made = (hold.c.session_id == session_id) & hold.c.made_by.is_not(None)
    endings = {row.uid: row.ending for row in connection.execute(select(hold.c.uid, hold.c.ending).where(made))}
    connection.execute(delete(hold).where(made))
    mine = (hold.c.session_id == session_id) & hold.c.made_by.is_(None)
    connection.execute(update(hold).where(mine).values(hidden=None, corrected_kind=hold.c.kind))
    for uid, why in corrected.hidden.items():
        connection.execute(update(hold).where(hold.c.uid == uid).values(hidden=why))
    now_utc_ns = time.time_ns()
    for one in corrected.holds:
        if one.made_by is None:
            connection.execute(update(hold).where(hold.c.uid == one.uid).values(corrected_kind=one.result.kind))
            continue
        connection.execute(
            insert(hold).values(
                uid=one.uid,
                session_id=session_id,
                **hold_columns(one),
                corrected_kind=one.result.kind,
                person_uid=one.person_uid,
                target_s=one.target_s,
                ending=endings.get(one.uid, one.ending),
                made_by=one.made_by,
                revised=0,
                created_utc_ns=now_utc_ns,
                changed_utc_ns=now_utc_ns,
            )
        )


def has_corrections(connection: Connection, session_id: int) -> bool:
    """Say whether anything of a session was ever corrected."""
    return connection.execute(select(correction.c.id).where(correction.c.session_id == session_id)).first() is not None


def _make(
    hold_uid: str,
    kind: CorrectionKind,
    content: dict[str, Any],
    reason: str,
    made_by: str,
    connection: Connection,
) -> Correction:
    session_id = connection.execute(select(hold.c.session_id).where(hold.c.uid == hold_uid)).scalar()
    if session_id is None:
        # A discarded part of a split has no row, but its corrections name it.
        earlier = select(correction.c.session_id).where(correction.c.hold_uid == hold_uid)
        session_id = connection.execute(earlier).scalar()
    if session_id is None:
        raise _unknown_hold(hold_uid)
    row = insert(correction).values(
        session_id=session_id,
        hold_uid=hold_uid,
        kind=kind,
        content=content,
        reason=reason,
        made_by=made_by,
        at_utc_ns=time.time_ns(),
    )
    number = int(connection.execute(row.returning(correction.c.id)).scalar_one())
    # An exception undoes the whole transaction: a correction that does not fit leaves no trace.
    problem = _corrected(connection, session_id).void.get(number)
    if problem:
        raise _not_possible(problem)
    refresh_session(connection, session_id)
    audit_row(made_by, f"correction made: {kind}", f"{hold_uid} #{number}", connection)
    return _one(connection, number)


def _set_content(number: int, content: dict[str, Any], connection: Connection) -> bool:
    session_id = connection.execute(select(correction.c.session_id).where(correction.c.id == number)).scalar()
    if session_id is None:
        return False
    connection.execute(update(correction).where(correction.c.id == number).values(content=content))
    refresh_session(connection, int(session_id))
    return True


def _undo(number: int, undone_by: str, connection: Connection) -> Correction:
    there = (correction.c.id == number) & correction.c.undone_utc_ns.is_(None)
    values = {"undone_utc_ns": time.time_ns(), "undone_by": undone_by}
    if connection.execute(update(correction).where(there).values(**values)).rowcount != 1:
        raise _unknown(f"There is no correction {number} in force.")
    of = connection.execute(
        select(correction.c.session_id, correction.c.hold_uid).where(correction.c.id == number)
    ).one()
    refresh_session(connection, int(of.session_id))
    audit_row(undone_by, "correction undone", f"{of.hold_uid} #{number}", connection)
    return _one(connection, number)


def _corrections() -> Select[Any]:
    columns = [c for c in correction.c if c.name != "session_id"]
    return select(*columns, session.c.uid.label("session_uid")).join(session, correction.c.session_id == session.c.id)


def _one(connection: Connection, number: int) -> Correction:
    return Correction(**connection.execute(_corrections().where(correction.c.id == number)).mappings().one())


def _of_hold_session(connection: Connection, hold_uid: str) -> list[Correction]:
    # The hold made by an undone correction is gone: its session is the one whose uid it begins with.
    row_id = (
        select(session.c.id)
        .join(hold, hold.c.session_id == session.c.id)
        .where(hold.c.uid == hold_uid)
        .scalar_subquery()
    )
    query = _corrections().where((correction.c.session_id == row_id) | (correction.c.hold_uid == hold_uid))
    return [Correction(**row) for row in connection.execute(query.order_by(correction.c.id)).mappings()]


def _names(one: Correction, hold_uid: str) -> bool:
    return one.content.get("with") == hold_uid


def _measured() -> Select[Any]:
    query = select(hold, session.c.uid.label("session_uid")).join(session, hold.c.session_id == session.c.id)
    return query.where(hold.c.made_by.is_(None) & hold.c.withdrawn_utc_ns.is_(None))


def _as_measured(row: dict[str, Any]) -> StoredHold:
    return hold_of_row({**row, "corrected_kind": row["kind"], "hidden": None})


def _corrected(connection: Connection, session_id: int) -> CorrectedHolds:
    rows = connection.execute(_measured().where(hold.c.session_id == session_id).order_by(hold.c.number)).mappings()
    measured = [_as_measured(dict(row)) for row in rows]
    made = connection.execute(_corrections().where(correction.c.session_id == session_id).order_by(correction.c.id))
    return corrected_holds(measured, [Correction(**row) for row in made.mappings()])


def _unknown_hold(uid: str) -> UnknownHold:
    return UnknownHold(
        what=f"There is no hold {uid[:80]!r}.",
        means="Nothing was changed.",
        do="Take a uid from the list of holds.",
    )


def _unknown(what: str) -> UnknownCorrection:
    return UnknownCorrection(what=what, means="Nothing was changed.", do="Look at the list of the hold's corrections.")


def _not_possible(problem: str) -> CorrectionNotPossible:
    return CorrectionNotPossible(
        what=problem,
        means="The correction was not made; the hold is shown as before.",
        do="Look at the hold's times and at its earlier corrections, and say why it is corrected.",
    )
