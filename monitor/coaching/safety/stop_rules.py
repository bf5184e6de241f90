"""When pain, numbness or dizziness ends a hold and pauses an item, and who to ask. Common practice, no source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.coaching.people.programme import StopRule
from monitor.records.person_entries import PainEntry

EVERYTHING = None
CLINICIAN_CONSULTED = "clinician_asked"
"""Word in ``PainEntry.tried``: only once a clinician was consulted does a symptom cease to pause."""

COMPARED_DAYS = 7.0
"""Pain is compared with the last entry of the same place within so many days (common practice, no source)."""
_DAY_ns = 86_400 * 10**9

WHO = {
    "shoulder": "a physiotherapist or a physician",
    "elbow": "a physiotherapist or a physician",
    "wrist": "a physiotherapist or a physician",
    "hand": "a physiotherapist or a physician",
    "neck": "a physician",
    "lower_back": "a physiotherapist or a physician",
    "numbness": "a physician, soon",
    "dizziness": "a physician, before the next hang",
}
"""Whom to ask, by place or symptom (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A pause in force.

    Attributes
    ----------
    item : str or None
        The item's key; None pauses everything.
    why : str
    ask : str
        Who to ask.
    since_utc_ns : int
    """

    item: str | None
    why: str
    ask: str
    since_utc_ns: int

    @property
    def words(self) -> str:
        """Return the pause as one sentence for the person."""
        what = "everything" if self.item is None else f"the item {self.item}"
        return f"The hold ends and {what} is paused: {self.why}. Ask {self.ask}."


def stops(entries: Sequence[PainEntry], rule: StopRule) -> list[Stop]:
    """Return the pauses in force after a person's entries of pain, oldest entry first.

    An item is paused by a pain of ``rule.pain`` or more, or by a rise of ``rule.rise`` against the last entry of the
    same place within a week. It opens with an entry for it (or for the same place) that does neither. A symptom
    pauses everything until an entry without it says that a clinician was consulted.
    """
    paused: dict[str | None, tuple[Stop, str | None]] = {}
    before: dict[str | None, PainEntry] = {}
    for entry in sorted(entries, key=lambda e: (e.at_utc_ns, e.id)):
        symptoms = [s for s in entry.symptoms if s in rule.symptoms]
        if symptoms:
            ask = "; ".join(WHO[s] for s in symptoms)
            paused[EVERYTHING] = (Stop(EVERYTHING, " and ".join(symptoms), ask, entry.at_utc_ns), None)
        elif EVERYTHING in paused and CLINICIAN_CONSULTED in entry.tried:
            del paused[EVERYTHING]
        why = _painful(entry, before.get(entry.place), rule)
        before[entry.place] = entry
        # Pain that is tied to no item pauses everything: it is not known what it comes from.
        key = entry.item if entry.item is not None else f"place:{entry.place or 'unknown'}"
        if why:
            ask = WHO.get(entry.place or "", "a physician")
            paused[key] = (Stop(entry.item, why, ask, entry.at_utc_ns), entry.place)
        else:
            same = [k for k, (_, place) in paused.items() if k is not EVERYTHING and (k == key or place == entry.place)]
            for other in same:
                del paused[other]
    return [stop for stop, _ in paused.values()]


def _painful(entry: PainEntry, last: PainEntry | None, rule: StopRule) -> str:
    where = f" in the {entry.place.replace('_', ' ')}" if entry.place else ""
    if entry.pain >= rule.pain:
        return f"pain {entry.pain} of 10{where}"
    recent = last is not None and entry.at_utc_ns - last.at_utc_ns <= COMPARED_DAYS * _DAY_ns
    if recent and last is not None and entry.pain - last.pain >= rule.rise:
        return f"pain rose from {last.pain} to {entry.pain}{where}"
    return ""


def paused_why(stops: Sequence[Stop], item: str) -> str:
    """Return why an item is paused, empty where it is not."""
    return "; ".join(f"{s.why}: ask {s.ask}" for s in stops if s.item is None or s.item == item)
