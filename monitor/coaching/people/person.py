"""Checks of a person's record before it is saved."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from monitor.coaching.errors import BadPerson
from monitor.coaching.local_time import zone_of
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


def _bad(what: str, do: str) -> BadPerson:
    return BadPerson(what=what, means="The person was not saved as given.", do=do)
