"""What is entered of a person: intakes, pain, programmes, hangs away from the rig."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Intake:
    """One dated intake: answers by question, and their outcome."""

    id: int
    person_uid: str
    at_utc_ns: int
    answers: dict[str, Any]
    outcome: dict[str, Any]


@dataclass(frozen=True, slots=True)
class PainEntry:
    """Pain on the numeric rating scale (0 to 10): where, at which hold or item, what was tried.

    ``symptoms`` holds words such as ``numbness`` and ``dizziness``; ``tried`` the cues that were tried.
    """

    id: int
    person_uid: str
    at_utc_ns: int
    pain: int
    place: str | None = None
    symptoms: tuple[str, ...] = ()
    hold_uid: str | None = None
    item: str | None = None
    tried: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class StoredProgramme:
    """A person's programme as plain data, in force since an instant."""

    id: int
    person_uid: str
    since_utc_ns: int
    content: dict[str, Any]


@dataclass(frozen=True, slots=True)
class ManualHang:
    """A hang away from the rig, entered by hand and marked so everywhere."""

    id: int
    person_uid: str
    at_utc_ns: int
    duration_s: float
    kind: str | None = None
    note: str = ""
    created_utc_ns: int = 0
    by_hand: bool = field(default=True, init=False)
