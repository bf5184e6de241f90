"""Checks of what is entered by hand before it is saved: pain, and hangs away from the rig."""

from __future__ import annotations

import math

from monitor.coaching.errors import BadEntry
from monitor.coaching.people.intake import places
from monitor.coaching.people.programme import SYMPTOMS
from monitor.records.person_entries import PainEntry

LONGEST_BY_HAND_s = 3600.0
"""A longer hang is a typing error (common practice, no source)."""

LATEST_AHEAD_ns = 60 * 10**9
"""How far an entry may lie in the future: clocks differ (common practice, no source)."""


def checked_pain(entry: PainEntry) -> PainEntry:
    """Return an entry of pain unchanged.

    Raises
    ------
    BadEntry
        The rating is no whole number from 0 to 10, or there is no such place or symptom.
    """
    if isinstance(entry.pain, bool) or not 0 <= entry.pain <= 10:
        raise _bad(f"A pain of {entry.pain} was given.", "Give a whole number from 0 to 10.")
    if entry.place is not None and entry.place not in places():
        raise _bad(f"There is no place {entry.place!r}.", f"Choose one of {', '.join(places())}.")
    unknown = [s for s in entry.symptoms if s not in SYMPTOMS]
    if unknown:
        raise _bad(f"There is no symptom {unknown[0]!r}.", f"Choose from {', '.join(SYMPTOMS)}.")
    return entry


def check_manual_hang(duration_s: float, at_utc_ns: int | None, kind: str | None, now_utc_ns: int) -> None:
    """Check a hang that was made away from the rig; ``at_utc_ns`` None is now.

    Raises
    ------
    BadEntry
    """
    if not (math.isfinite(duration_s) and 0 < duration_s <= LONGEST_BY_HAND_s):
        raise _bad(f"A hang of {duration_s:g} s was given.", f"Give seconds up to {LONGEST_BY_HAND_s:.0f}.")
    if kind not in (None, "passive", "active", "mixed"):
        raise _bad(f"There is no kind {kind!r}.", "Choose passive, active or mixed, or leave it out.")
    if at_utc_ns is not None and at_utc_ns > now_utc_ns + LATEST_AHEAD_ns:
        raise _bad("The hang lies in the future.", "Give the time at which it was made.")


def _bad(what: str, do: str) -> BadEntry:
    return BadEntry(what=what, means="The entry was not saved.", do=do)
