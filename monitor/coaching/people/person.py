"""A person's record is checked before it is kept."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from monitor.coaching.errors import BadPerson
from monitor.records.person import Person
from monitor.units import LOAD_UNITS

NAME_LENGTH = 120
SHORTEST_M, TALLEST_M = 0.5, 2.6


def checked_person(person: Person) -> Person:
    """Return the person with the name's outer blanks taken off.

    Raises
    ------
    BadPerson
        Name empty or too long, stature of no human being in metres, date or unit or time zone that does not exist.
    """
    name = " ".join(person.name.split())
    if not 1 <= len(name) <= NAME_LENGTH:
        raise _bad(f"A name has 1 to {NAME_LENGTH} characters.", "Give a name or initials.")
    if person.stature_m is not None and not SHORTEST_M <= person.stature_m <= TALLEST_M:
        raise _bad(f"A stature of {person.stature_m:g} m was given.", "Give the stature in metres, for example 1.74.")
    if person.units not in LOAD_UNITS:
        raise _bad(f"There is no unit {person.units!r}.", f"Choose one of {', '.join(LOAD_UNITS)}.")
    if person.consent_on is not None:
        try:
            dt.date.fromisoformat(person.consent_on)
        except ValueError as error:
            raise _bad(f"{person.consent_on!r} is no date.", "Give the date of consent as 2026-03-31.") from error
    zone_of(person.time_zone)
    return replace(person, name=name)


def zone_of(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name.

    Raises
    ------
    BadPerson
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise _bad(f"There is no time zone {name!r}.", "Give a name such as Europe/Vienna.") from error


def local_zone_name() -> str:
    """Return the IANA name of this machine's time zone, ``UTC`` where it cannot be told."""
    candidates = [os.environ.get("TZ", "").lstrip(":"), str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]]
    for name in candidates:
        try:
            if name:
                return ZoneInfo(name).key
        except (ZoneInfoNotFoundError, ValueError, OSError):
            continue
    return "UTC"


def _bad(what: str, do: str) -> BadPerson:
    return BadPerson(what=what, means="The person was not kept as given.", do=do)
