"""Pauses of a programme: an illness, a journey, one item for a while."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pause:
    """A pause from its first to its last day (both included, on the person's calendar).

    Attributes
    ----------
    first : str
        ISO 8601 date.
    last : str
        ISO 8601 date; empty: until somebody resumes.
    item : str
        Key of the item; empty pauses everything.
    reason : str
    """

    first: str
    last: str = ""
    item: str = ""
    reason: str = ""

    def holds_on(self, day: dt.date) -> bool:
        """Say whether it is in force on a day."""
        return dt.date.fromisoformat(self.first) <= day and (not self.last or day <= dt.date.fromisoformat(self.last))

    @property
    def words(self) -> str:
        """Return the pause as part of a sentence."""
        until = f"until {self.last}" if self.last else "until it is resumed"
        return f"paused {until}{f': {self.reason}' if self.reason else ''}"


def paused_on(pauses: Sequence[Pause], day: dt.date, item: str = "") -> Pause | None:
    """Return a pause in force that day: of everything, or of the item where one is named."""
    return next((p for p in pauses if p.holds_on(day) and p.item in ("", item)), None)


def resting_days(pauses: Sequence[Pause], first: dt.date, last: dt.date) -> frozenset[dt.date]:
    """Return the days between two (both included) on which everything was paused: nobody missed those."""
    span = (first + dt.timedelta(days=k) for k in range(max(0, (last - first).days) + 1))
    return frozenset(day for day in span if paused_on(pauses, day) is not None)


def resumed(pauses: Sequence[Pause], today: dt.date, item: str = "") -> tuple[Pause, ...]:
    """Return the pauses after those in force (of everything, or of the item) ended yesterday.

    One that began today leaves no trace.
    """
    remaining = []
    for pause in pauses:
        if pause.item != item or not pause.holds_on(today):
            remaining.append(pause)
        elif dt.date.fromisoformat(pause.first) < today:
            yesterday = (today - dt.timedelta(days=1)).isoformat()
            remaining.append(Pause(pause.first, yesterday, pause.item, pause.reason))
    return tuple(remaining)
