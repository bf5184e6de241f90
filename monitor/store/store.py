"""Sessions, holds and settings: kept by one writer, read by everyone.

People, corrections, markers and deliberate swings have modules of their own, reached as ``store.people`` and so on.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import Connection, Engine, func, insert, select, update
from sqlalchemy.exc import DBAPIError

from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.store.audit import Audit
from monitor.store.database.engine import database_url, open_engines
from monitor.store.database.schema import hold, session, setting
from monitor.store.database.writer import Writer
from monitor.store.errors import DatabaseClosed, DatabaseNotRead
from monitor.store.files.folder import new_session_uid
from monitor.store.holds.corrections import Corrections
from monitor.store.holds.earlier_results import Earlier
from monitor.store.holds.hold_writes import save_hold, select_holds, select_listed_holds, withdraw_hold
from monitor.store.holds.markers import Markers
from monitor.store.holds.rows import hold_columns, hold_of_row, session_of_row
from monitor.store.holds.search import HoldFilter, HoldOrder, search_all, search_page, search_spans
from monitor.store.people.people import People
from monitor.store.people.swing_calibrations import SwingCalibrations
from monitor.store.session_writes import begin_job, end_job, select_sessions


def open_store(place: str | Path) -> Store:
    """Open the database at a path (SQLite) or URL; make its tables, or bring them up to date.

    Raises
    ------
    DatabaseNotOpened, DatabaseNotOurs, DatabaseNewer
    """
    return Store(*open_engines(database_url(place)))


class Store:
    """Every method may be called from any thread. A method that writes returns after the commit.

    Later writes (methods whose name ends in ``_later``) return at once. All writes share one queue and keep their
    order; while the disk is full or gone, later ones are tried again until it is back.

    Raises
    ------
    DatabaseClosed
        By every method after ``close``.
    DatabaseNotRead
        By every method that reads, when the database gives no answer.
    DatabaseNotWritten
        By every method that writes, when the disk is full or taken away.
    """

    def __init__(self, writer_engine: Engine, reader_engine: Engine) -> None:
        self._engines = (writer_engine, reader_engine)
        self._readers = reader_engine
        self._writer = Writer(writer_engine)
        self._closed = False
        self.people = People(self._read, self._writer)
        self.corrections = Corrections(self._read, self._writer)
        self.markers = Markers(self._read, self._writer)
        self.swings = SwingCalibrations(self._read, self._writer)
        self.audit = Audit(self._read, self._writer)
        self.earlier = Earlier(self._read)

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, _type: type[BaseException] | None, _value: BaseException | None, _tb: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Finish the queued writes and let go of the database. May be called again."""
        self._writer.close()
        self._closed = True
        for engine in self._engines:
            engine.dispose()

    # Later writes

    def settle(self) -> None:
        """Wait until everything queued so far is in the database, or finally refused."""
        self._writer.submit(lambda connection: None, retry=True).result()

    def start_retries(self) -> None:
        """Keep trying later writes that the database refuses, as after opening."""
        self._writer.start_retries()

    def finish_retries(self) -> None:
        """Try what was refused a last time; from now on every refusal is final."""
        self._writer.finish_retries()

    def warnings(self) -> list[str]:
        """Return in words what was lost, and why the database takes no write at the moment."""
        return self._writer.warnings()

    # Sessions

    def begin_session(
        self,
        started_utc_ns: int,
        rig: Mapping[str, Any],
        calibration: Mapping[str, Any] | None = None,
        *,
        uid: str | None = None,
        journal: str | None = None,
        person_uid: str | None = None,
    ) -> str:
        """Keep that a session on the rig has begun; return its uid.

        Parameters
        ----------
        started_utc_ns : int
        rig, calibration : mapping
            Plain data, as ``rig_to_dict`` and ``calibration_to_dict`` give it.
        uid : str, optional
            From ``new_session_uid`` where the journal was opened first; made here otherwise.
        journal : str, optional
            Place of the journal relative to the data folder; ``journal_place`` of the uid otherwise.
        person_uid : str, optional
            Who hangs; a guest otherwise.

        Raises
        ------
        SessionExists
            The uid is taken.
        UnknownPerson
        """
        name = new_session_uid(started_utc_ns) if uid is None else uid
        self._writer.submit(begin_job(name, started_utc_ns, rig, calibration, person_uid, journal)).result()
        return name

    def begin_session_later(
        self,
        uid: str,
        started_utc_ns: int,
        rig: Mapping[str, Any],
        calibration: Mapping[str, Any] | None,
        person_uid: str | None,
    ) -> Future[None]:
        """Queue the beginning of a session and return at once; it is tried until it is stored."""
        job = begin_job(uid, started_utc_ns, rig, calibration, person_uid)
        return self._writer.submit(job, retry=True)

    def end_session(
        self,
        uid: str,
        ended_utc_ns: int,
        *,
        clock_rate: float | None = None,
        quality: Mapping[str, Any] | None = None,
        interrupted: bool = False,
    ) -> None:
        """Keep that a session has ended. May be repeated with better numbers.

        Parameters
        ----------
        clock_rate : float, optional
            True seconds per second of the board's clock.
        quality : mapping, optional
            Plain data: samples, lost, spikes, rate_Hz.
        interrupted : bool
            The program or the power was cut off; the journal was mended.

        Raises
        ------
        UnknownSession
        """
        self._writer.submit(end_job(uid, ended_utc_ns, clock_rate, quality, interrupted)).result()

    def end_session_later(
        self,
        uid: str,
        ended_utc_ns: int,
        clock_rate: float | None,
        quality: Mapping[str, Any] | None,
        interrupted: bool,
    ) -> Future[None]:
        """Queue the end of a session and return at once; it is tried until it is stored."""
        return self._writer.submit(end_job(uid, ended_utc_ns, clock_rate, quality, interrupted), retry=True)

    def get_session(self, uid: str) -> StoredSession | None:
        """Return a session with the rig and the calibration that were in force, None where it is not known."""
        with self._read() as connection:
            row = connection.execute(select_sessions().where(session.c.uid == uid)).mappings().first()
        return None if row is None else session_of_row(row)

    def unfinished_sessions(self) -> list[StoredSession]:
        """Return the sessions that were begun and never ended, oldest first."""
        query = (
            select_sessions().where(session.c.ended_utc_ns.is_(None)).order_by(session.c.started_utc_ns, session.c.uid)
        )
        with self._read() as connection:
            return [session_of_row(row) for row in connection.execute(query).mappings()]

    def known_sessions(self, uids: Sequence[str]) -> set[str]:
        """Return those of the given uids that belong to a session."""
        existing: set[str] = set()
        with self._read() as connection:
            for first in range(0, len(uids), 500):
                query = select(session.c.uid).where(session.c.uid.in_(uids[first : first + 500]))
                existing |= set(connection.execute(query).scalars())
        return existing

    def list_sessions(
        self, limit: int | None = 50, offset: int = 0, *, newest_first: bool = True
    ) -> list[StoredSession]:
        """Return sessions by the time of their start."""
        order = [session.c.started_utc_ns, session.c.uid]
        query = (
            select_sessions()
            .order_by(*[c.desc() for c in order] if newest_first else order)
            .limit(limit)
            .offset(offset)
        )
        with self._read() as connection:
            return [session_of_row(row) for row in connection.execute(query).mappings()]

    # Holds

    def save_hold(self, hold: StoredHold) -> StoredHold:
        """Insert a hold, or revise the one of the same uid; return it as it is now kept.

        The count ``revised`` grows only where a number has changed (the result, the bodyweight, the place in the
        session, the measurement's version), not where a better clock fit moves the hold in UTC. Saving a withdrawn
        hold again brings it back.

        Raises
        ------
        UnknownSession
        """
        return self._writer.submit(partial(save_hold, hold, hold_columns(hold))).result()

    def save_hold_later(self, hold: StoredHold) -> Future[StoredHold]:
        """Queue a hold and return at once; the future ends after the commit, with the hold as stored."""
        return self._writer.submit(partial(save_hold, hold, hold_columns(hold)), retry=True)

    def withdraw_hold(self, uid: str) -> bool:
        """Take a hold out of every list, as when a second look finds none; say whether there was one.

        The row stays in the database: nothing recorded is destroyed.
        """
        return self._writer.submit(partial(withdraw_hold, uid)).result()

    def withdraw_hold_later(self, uid: str) -> Future[bool]:
        """Queue the withdrawal of a hold and return at once."""
        return self._writer.submit(partial(withdraw_hold, uid), retry=True)

    def list_holds(
        self,
        limit: int | None = 50,
        offset: int = 0,
        *,
        newest_first: bool = True,
        since_utc_ns: int | None = None,
        until_utc_ns: int | None = None,
    ) -> list[StoredHold]:
        """Return holds by their onset; ``since`` is included, ``until`` is not; ``limit=None`` returns all."""
        order = [hold.c.onset_utc_ns, hold.c.uid]
        query = select_listed_holds().order_by(*[c.desc() for c in order] if newest_first else order)
        if since_utc_ns is not None:
            query = query.where(hold.c.onset_utc_ns >= since_utc_ns)
        if until_utc_ns is not None:
            query = query.where(hold.c.onset_utc_ns < until_utc_ns)
        if limit is not None:
            query = query.limit(limit)
        if offset:
            query = query.offset(offset)
        with self._read() as connection:
            return [hold_of_row(row) for row in connection.execute(query).mappings()]

    def each_hold(self, *, newest_first: bool = False) -> Iterator[StoredHold]:
        """Give all holds one after the other: for exports of any length in little memory."""
        order = [hold.c.onset_utc_ns, hold.c.uid]
        query = select_listed_holds().order_by(*[c.desc() for c in order] if newest_first else order)
        with self._read() as connection:
            rows = connection.execution_options(yield_per=200).execute(query)
            for row in rows.mappings():
                yield hold_of_row(row)

    def holds_of_session(self, session_uid: str) -> list[StoredHold]:
        """Return the holds of one session in their order, corrected."""
        query = select_listed_holds().where(session.c.uid == session_uid).order_by(hold.c.number, hold.c.onset_utc_ns)
        with self._read() as connection:
            return [hold_of_row(row) for row in connection.execute(query).mappings()]

    def measured_of_session(self, session_uid: str) -> list[StoredHold]:
        """Return the holds of one session as they were measured: discarded ones too, parts made by a coach not."""
        query = select_holds().where(session.c.uid == session_uid, hold.c.made_by.is_(None)).order_by(hold.c.number)
        with self._read() as connection:
            return [hold_of_row(row) for row in connection.execute(query).mappings()]

    def get_hold(self, uid: str) -> StoredHold | None:
        """Return a hold, None where it is not known or was withdrawn.

        A hold that a correction has taken out of the lists is still found here; ``hidden`` says why.
        """
        with self._read() as connection:
            row = connection.execute(select_holds().where(hold.c.uid == uid)).mappings().first()
        return None if row is None else hold_of_row(row)

    def hold_names(self, session_uid: str | None = None) -> set[str]:
        """Return the uids of measured holds, withdrawn ones too: of one session, or of all."""
        query = select(hold.c.uid).where(hold.c.made_by.is_(None))
        if session_uid is not None:
            query = query.join(session, hold.c.session_id == session.c.id).where(session.c.uid == session_uid)
        with self._read() as connection:
            return set(connection.execute(query).scalars())

    def count_holds(self) -> int:
        """Return how many holds are kept."""
        with self._read() as connection:
            query = select(func.count()).select_from(hold)
            there = hold.c.withdrawn_utc_ns.is_(None) & hold.c.hidden.is_(None)
            return int(connection.execute(query.where(there)).scalar_one())

    def find_holds(
        self, wanted: HoldFilter, limit: int = 50, offset: int = 0, order: HoldOrder = "newest"
    ) -> tuple[list[StoredHold], int]:
        """Return a page of the holds that a filter finds, in an order, and how many there are in all."""
        with self._read() as connection:
            return search_page(connection, wanted, limit, offset, order)

    def all_holds(self, wanted: HoldFilter) -> list[StoredHold]:
        """Return every hold that a filter finds, oldest first."""
        with self._read() as connection:
            return search_all(connection, wanted)

    def hold_spans(self, wanted: HoldFilter) -> list[tuple[int, float]]:
        """Return onset (UTC in ns) and duration (s) of every hold that a filter finds, oldest first."""
        with self._read() as connection:
            return search_spans(connection, wanted)

    # Settings

    def get_setting(self, key: str, default: Any = None) -> Any:
        """Return a setting's value, ``default`` where it was never set."""
        with self._read() as connection:
            row = connection.execute(select(setting.c.value).where(setting.c.key == key)).first()
        return default if row is None else row[0]

    def set_setting(self, key: str, value: Any) -> None:
        """Keep a setting (plain data)."""
        self._writer.submit(partial(_set_setting, key, plain(value))).result()

    def all_settings(self) -> dict[str, Any]:
        """Return every setting that was ever set."""
        with self._read() as connection:
            rows = connection.execute(select(setting.c.key, setting.c.value).order_by(setting.c.key))
            return {row.key: row.value for row in rows}

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        if self._closed:
            raise DatabaseClosed(
                what="The database has been closed.",
                means="Nothing can be read from it.",
                do="Open the store again.",
            )
        try:
            with self._readers.connect() as connection:
                yield connection
        except DBAPIError as error:
            raise DatabaseNotRead(
                what=f"The database gave no answer: {str(error.orig or error).strip()}.",
                means="What is kept cannot be shown; nothing was changed.",
                do="Check that the disk is there and the file is whole, then start the program again.",
            ) from error


def _set_setting(key: str, value: Any, connection: Connection) -> None:
    values = {"value": value, "changed_utc_ns": time.time_ns()}
    if connection.execute(update(setting).where(setting.c.key == key).values(**values)).rowcount == 0:
        connection.execute(insert(setting).values(key=key, **values))
