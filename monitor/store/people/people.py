"""People and what is entered about them: kept and read."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from typing import Any, Final

from sqlalchemy import Connection, Select, insert, select, update

from monitor.records.person import Person
from monitor.records.person_entries import Intake, ManualHang, PainEntry, StoredProgramme
from monitor.records.plain_data import plain
from monitor.store.database.schema import hold, intake, manual_hang, pain_entry, person, programme, session
from monitor.store.database.writer import Writer
from monitor.store.errors import UnknownPerson, UnknownSession

Read = Callable[[], AbstractContextManager[Connection]]

_PERSON: Final = (
    "uid",
    "name",
    "stature_m",
    "notes",
    "consent_on",
    "units",
    "time_zone",
    "created_utc_ns",
    "erased_utc_ns",
)


def new_person_uid() -> str:
    """Return a name for a person that says nothing about them and is never given twice."""
    return f"p-{secrets.token_hex(6)}"


class People:
    """Part of the store: ``store.people``. Methods raise what the store's do, and ``UnknownPerson``."""

    def __init__(self, read: Read, writer: Writer) -> None:
        self._read = read
        self._writer = writer

    # People

    def save(self, one: Person) -> Person:
        """Keep a new person (empty uid) or change a known one; return them as kept."""
        return self._writer.submit(partial(_save_person, one)).result()

    def get(self, uid: str) -> Person | None:
        """Return a person, None where they are not known or were erased."""
        with self._read() as connection:
            row = connection.execute(_people().where(person.c.uid == uid)).mappings().first()
        return None if row is None else Person(**row)

    def everybody(self) -> list[Person]:
        """Return everybody, by name."""
        with self._read() as connection:
            rows = connection.execute(_people().order_by(person.c.name, person.c.uid)).mappings()
            return [Person(**row) for row in rows]

    def assign_session(self, session_uid: str, person_uid: str | None) -> None:
        """Say who hung in a session, with all its holds; None makes it a guest's."""
        self._writer.submit(partial(_assign_session, session_uid, person_uid)).result()

    def assign_session_later(self, session_uid: str, person_uid: str | None) -> None:
        """Queue the same and return at once; it is tried until it is stored."""
        self._writer.submit(partial(_assign_session, session_uid, person_uid), retry=True)

    # Intake, programme

    def add_intake(self, person_uid: str, at_utc_ns: int, answers: Any, outcome: Any) -> Intake:
        """Keep a questioning."""
        values = {"at_utc_ns": at_utc_ns, "answers": plain(answers), "outcome": plain(outcome)}
        return Intake(self._add(intake, person_uid, values), person_uid, **values)

    def intakes(self, person_uid: str) -> list[Intake]:
        """Return a person's questionings, newest first."""
        query = select(intake).where(intake.c.person_uid == person_uid)
        with self._read() as connection:
            rows = connection.execute(query.order_by(intake.c.at_utc_ns.desc(), intake.c.id.desc())).mappings()
            return [Intake(**row) for row in rows]

    def set_programme(self, person_uid: str, since_utc_ns: int, content: Any) -> StoredProgramme:
        """Put a programme in force; earlier ones are kept."""
        values = {"since_utc_ns": since_utc_ns, "content": plain(content)}
        return StoredProgramme(self._add(programme, person_uid, values), person_uid, **values)

    def programmes(self, person_uid: str) -> list[StoredProgramme]:
        """Return a person's programmes, newest first."""
        query = select(programme).where(programme.c.person_uid == person_uid)
        with self._read() as connection:
            rows = connection.execute(query.order_by(programme.c.since_utc_ns.desc(), programme.c.id.desc())).mappings()
            return [StoredProgramme(**row) for row in rows]

    # Pain, hangs away from the rig

    def add_pain(self, entry: PainEntry) -> PainEntry:
        """Keep an entry of pain; its id is given here."""
        values = {
            "at_utc_ns": entry.at_utc_ns,
            "pain": entry.pain,
            "place": entry.place,
            "symptoms": list(entry.symptoms),
            "hold_uid": entry.hold_uid,
            "item": entry.item,
            "tried": list(entry.tried),
            "note": entry.note,
        }
        return _pain_of(
            {"id": self._add(pain_entry, entry.person_uid, values), "person_uid": entry.person_uid, **values}
        )

    def pains(self, person_uid: str, since_utc_ns: int | None = None) -> list[PainEntry]:
        """Return a person's entries of pain, oldest first."""
        query = select(pain_entry).where(pain_entry.c.person_uid == person_uid)
        if since_utc_ns is not None:
            query = query.where(pain_entry.c.at_utc_ns >= since_utc_ns)
        with self._read() as connection:
            rows = connection.execute(query.order_by(pain_entry.c.at_utc_ns, pain_entry.c.id)).mappings()
            return [_pain_of(dict(row)) for row in rows]

    def add_manual_hang(
        self, person_uid: str, at_utc_ns: int, duration_s: float, kind: str | None = None, note: str = ""
    ) -> ManualHang:
        """Keep a hang that was made away from the rig."""
        values = {
            "at_utc_ns": at_utc_ns,
            "duration_s": float(duration_s),
            "kind": kind,
            "note": note,
            "created_utc_ns": time.time_ns(),
        }
        return ManualHang(self._add(manual_hang, person_uid, values), person_uid, **values)  # type: ignore[arg-type]

    def remove_manual_hang(self, number: int) -> bool:
        """Take a hang entered by mistake out of every list; say whether there was one."""
        there = (manual_hang.c.id == number) & manual_hang.c.removed_utc_ns.is_(None)
        job = update(manual_hang).where(there).values(removed_utc_ns=time.time_ns())
        return self._writer.submit(lambda connection: connection.execute(job).rowcount == 1).result()

    def manual_hangs(self, person_uid: str, since_utc_ns: int | None = None) -> list[ManualHang]:
        """Return a person's hangs away from the rig, oldest first."""
        columns = [c for c in manual_hang.c if c.name != "removed_utc_ns"]
        mine = (manual_hang.c.person_uid == person_uid) & manual_hang.c.removed_utc_ns.is_(None)
        query = select(*columns).where(mine)
        if since_utc_ns is not None:
            query = query.where(manual_hang.c.at_utc_ns >= since_utc_ns)
        with self._read() as connection:
            rows = connection.execute(query.order_by(manual_hang.c.at_utc_ns, manual_hang.c.id)).mappings()
            return [ManualHang(**row) for row in rows]

    def _add(self, table: Any, person_uid: str, values: dict[str, Any]) -> int:
        def job(connection: Connection) -> int:
            need_person(connection, person_uid)
            row = insert(table).values(person_uid=person_uid, **values).returning(table.c.id)
            return int(connection.execute(row).scalar_one())

        return self._writer.submit(job).result()


def need_person(connection: Connection, uid: str) -> None:
    """Check that a person is there.

    Raises
    ------
    UnknownPerson
    """
    if connection.execute(_people().where(person.c.uid == uid)).first() is None:
        raise UnknownPerson(
            what=f"There is no person {uid[:80]!r}.",
            means="Nothing was kept.",
            do="Choose somebody from the list of people, or add the person first.",
        )


def _people() -> Select[Any]:
    return select(*(person.c[name] for name in _PERSON)).where(person.c.erased_utc_ns.is_(None))


def _pain_of(row: dict[str, Any]) -> PainEntry:
    return PainEntry(**{**row, "symptoms": tuple(row["symptoms"]), "tried": tuple(row["tried"])})


def _save_person(one: Person, connection: Connection) -> Person:
    now_utc_ns = time.time_ns()
    values = {
        "name": one.name,
        "stature_m": one.stature_m,
        "notes": one.notes,
        "consent_on": one.consent_on,
        "units": one.units,
        "time_zone": one.time_zone,
        "changed_utc_ns": now_utc_ns,
    }
    uid = one.uid
    if uid:
        need_person(connection, uid)
        connection.execute(update(person).where(person.c.uid == uid).values(**values))
    else:
        uid = new_person_uid()
        connection.execute(insert(person).values(uid=uid, created_utc_ns=now_utc_ns, **values))
    return Person(**connection.execute(_people().where(person.c.uid == uid)).mappings().one())


def _assign_session(session_uid: str, person_uid: str | None, connection: Connection) -> None:
    if person_uid is not None:
        need_person(connection, person_uid)
    session_id = connection.execute(select(session.c.id).where(session.c.uid == session_uid)).scalar_one_or_none()
    if session_id is None:
        raise UnknownSession(
            what=f"There is no session {session_uid[:80]!r}.",
            means="Nobody was written to it.",
            do="Take the session's uid from one of its holds.",
        )
    connection.execute(update(session).where(session.c.id == session_id).values(person_uid=person_uid))
    connection.execute(update(hold).where(hold.c.session_id == session_id).values(person_uid=person_uid))
