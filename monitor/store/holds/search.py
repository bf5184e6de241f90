"""Finding holds among very many: a filter, and a query that reads an index instead of the rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, Select, and_, func, select

from monitor.records.stored_hold import StoredHold
from monitor.store.database.schema import hold, session
from monitor.store.holds.rows import hold_of_row

HoldOrder = Literal["newest", "oldest", "longest", "shortest", "least_help", "most_help"]
"""Orders of a search; holds that lack what is ordered by come last. All stand in the wide index."""


def _order(order: HoldOrder) -> list[ColumnElement[Any]]:
    c = hold.c
    first: dict[HoldOrder, list[ColumnElement[Any]]] = {
        "newest": [],
        "oldest": [c.onset_utc_ns, c.uid],
        "longest": [c.duration_s.desc()],
        "shortest": [c.duration_s],
        "least_help": [c.alpha_mean.is_(None), c.alpha_mean],
        "most_help": [c.alpha_mean.is_(None), c.alpha_mean.desc()],
    }
    return [*first[order], c.onset_utc_ns.desc(), c.uid.desc()]


@dataclass(frozen=True, slots=True)
class HoldFilter:
    """What a hold must be like; None asks nothing.

    Attributes
    ----------
    person_uid : str or None
    guests : bool
        Only holds of nobody in particular.
    kind, support : str or None
        As seen, with the coach's word.
    since_utc_ns, until_utc_ns : int or None
        Onset; ``since`` is included, ``until`` is not.
    least_s, most_s : float or None
        Duration.
    least_alpha, most_alpha : float or None
        Mean assistance.
    """

    person_uid: str | None = None
    guests: bool = False
    kind: str | None = None
    support: str | None = None
    since_utc_ns: int | None = None
    until_utc_ns: int | None = None
    least_s: float | None = None
    most_s: float | None = None
    least_alpha: float | None = None
    most_alpha: float | None = None

    def condition(self) -> ColumnElement[bool]:
        """Return the filter as a condition on the table of holds."""
        c = hold.c
        comparisons: list[tuple[Callable[[Any], Any], Any]] = [
            (c.person_uid.__eq__, self.person_uid),
            (c.corrected_kind.__eq__, self.kind),
            (c.support.__eq__, self.support),
            (c.onset_utc_ns.__ge__, self.since_utc_ns),
            (c.onset_utc_ns.__lt__, self.until_utc_ns),
            (c.duration_s.__ge__, self.least_s),
            (c.duration_s.__le__, self.most_s),
            (c.alpha_mean.__ge__, self.least_alpha),
            (c.alpha_mean.__le__, self.most_alpha),
        ]
        there = [c.withdrawn_utc_ns.is_(None), c.hidden.is_(None)]
        if self.guests:
            there.append(c.person_uid.is_(None))
        return and_(*there, *(compare(value) for compare, value in comparisons if value is not None))


def search_page(
    connection: Connection, wanted: HoldFilter, limit: int, offset: int, order: HoldOrder = "newest"
) -> tuple[list[StoredHold], int]:
    """Return a page of the holds that a filter finds, in an order, and how many it finds in all."""
    condition = wanted.condition()
    total = int(connection.execute(select(func.count()).select_from(hold).where(condition)).scalar_one())
    uids = select(hold.c.uid).where(condition).order_by(*_order(order))
    page = uids.limit(limit).offset(offset).subquery()
    rows = _holds().join(page, hold.c.uid == page.c.uid).order_by(*_order(order))
    return [hold_of_row(row) for row in connection.execute(rows).mappings()], total


def search_all(connection: Connection, wanted: HoldFilter) -> list[StoredHold]:
    """Return every hold that a filter finds, oldest first."""
    query = _holds().where(wanted.condition()).order_by(hold.c.onset_utc_ns, hold.c.uid)
    return [hold_of_row(row) for row in connection.execute(query).mappings()]


def search_spans(connection: Connection, wanted: HoldFilter) -> list[tuple[int, float]]:
    """Return onset (UTC in ns) and duration (s) of every hold that a filter finds, oldest first; rows are not read."""
    query = select(hold.c.onset_utc_ns, hold.c.duration_s).where(wanted.condition())
    rows = connection.execute(query.order_by(hold.c.onset_utc_ns, hold.c.uid))
    return [(row.onset_utc_ns, row.duration_s) for row in rows]


def _holds() -> Select[Any]:
    return select(hold, session.c.uid.label("session_uid")).join(session, hold.c.session_id == session.c.id)
