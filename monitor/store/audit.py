"""Who changed what, and when: a list that only grows. Names and uids, never what a body weighs."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial

from sqlalchemy import Connection, insert, select

from monitor.records.audit_entry import AuditEntry
from monitor.store.database.schema import audit
from monitor.store.database.writer import Writer

Read = Callable[[], AbstractContextManager[Connection]]


class Audit:
    """Part of the store: ``store.audit``."""

    def __init__(self, read: Read, writer: Writer) -> None:
        self._read = read
        self._writer = writer

    def add(self, who: str, what: str, subject: str = "") -> None:
        """Keep who did what; returns when it is on the disk."""
        self._writer.submit(partial(audit_row, who, what, subject)).result()

    def recent(self, limit: int = 200, before_id: int | None = None) -> list[AuditEntry]:
        """Return entries, newest first; those before an id for the next page."""
        query = select(audit).order_by(audit.c.id.desc()).limit(limit)
        if before_id is not None:
            query = query.where(audit.c.id < before_id)
        with self._read() as connection:
            return [AuditEntry(**row) for row in connection.execute(query).mappings()]


def audit_row(who: str, what: str, subject: str, connection: Connection) -> None:
    """Write an entry within the caller's transaction: a change and its entry are kept together or not at all."""
    values = {"at_utc_ns": time.time_ns(), "who": who[:120], "what": what[:80], "subject": subject[:300]}
    connection.execute(insert(audit).values(**values))
