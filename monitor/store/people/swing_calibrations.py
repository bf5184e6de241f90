"""A person's deliberate swings: what somebody measured, and the kappa that follows; kept, listed, taken back."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import asdict

from sqlalchemy import Connection, insert, select, update

from monitor.measures.swing import ANYBODY, Pendulum
from monitor.measures.swing_calibration import pendulum_of
from monitor.records.swing_calibration import SwingCalibration
from monitor.store.database.schema import swing_calibration
from monitor.store.database.writer import Writer
from monitor.store.people.people import need_person

Read = Callable[[], AbstractContextManager[Connection]]


class SwingCalibrations:
    """Part of the store: ``store.swings``."""

    def __init__(self, read: Read, writer: Writer) -> None:
        self._read = read
        self._writer = writer

    def add(self, one: SwingCalibration) -> SwingCalibration:
        """Keep a deliberate swing; its id is given here.

        Raises
        ------
        UnknownPerson
        """
        values = {key: value for key, value in asdict(one).items() if key != "id"}

        def job(connection: Connection) -> int:
            need_person(connection, one.person_uid)
            row = insert(swing_calibration).values(**values).returning(swing_calibration.c.id)
            return int(connection.execute(row).scalar_one())

        return SwingCalibration(id=self._writer.submit(job).result(), **values)

    def of_person(self, person_uid: str) -> list[SwingCalibration]:
        """Return a person's swings that stand, oldest first."""
        table = swing_calibration
        columns = [table.c[name] for name in SwingCalibration.__dataclass_fields__]
        query = select(*columns).where(table.c.person_uid == person_uid, table.c.removed_utc_ns.is_(None))
        with self._read() as connection:
            rows = connection.execute(query.order_by(table.c.at_utc_ns, table.c.id)).mappings()
            return [SwingCalibration(**row) for row in rows]

    def remove(self, person_uid: str, number: int) -> bool:
        """Take one back; say whether there was one."""
        table = swing_calibration
        there = (table.c.id == number) & (table.c.person_uid == person_uid) & table.c.removed_utc_ns.is_(None)
        job = update(table).where(there).values(removed_utc_ns=time.time_ns())
        return self._writer.submit(lambda connection: connection.execute(job).rowcount == 1).result()

    def pendulum(self, person_uid: str | None) -> Pendulum:
        """Return a person as a pendulum; a guest is anybody."""
        if person_uid is None:
            return ANYBODY
        swings = self.of_person(person_uid)
        return pendulum_of((one.kappa, one.u_rel) for one in swings) if swings else ANYBODY
