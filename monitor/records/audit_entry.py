"""Who changed what, and when."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One change: who made it, what was done, and to what."""

    id: int
    at_utc_ns: int
    who: str
    what: str
    subject: str
