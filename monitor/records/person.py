"""A person who hangs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who hangs. A guest needs no record.

    Attributes
    ----------
    uid : str
        Stable and meaningless; empty until the person is stored.
    name : str
        Name or initials.
    stature_m : float or None
    notes : str
    consent_on : str or None
        Date (ISO 8601) on which the person agreed to be recorded; None: not asked, or not given.
    units : str
        Unit in which loads are shown to them, one of ``monitor.units.LOAD_UNITS``.
    time_zone : str
        IANA name; their day begins at their midnight.
    """

    uid: str
    name: str
    stature_m: float | None = None
    notes: str = ""
    consent_on: str | None = None
    units: str = "kgf"
    time_zone: str = "UTC"
    created_utc_ns: int = 0
    erased_utc_ns: int | None = None
