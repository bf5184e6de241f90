"""The six invented people of the demo hall: what they are like, from which their history is drawn.

None of them exists, and no number here was measured on anybody.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from monitor.demo.people import Person

ZONE = "Europe/Vienna"


@dataclass(frozen=True, slots=True)
class Ache:
    """Pain that comes with hanging and goes: ``first`` of 10, halved every ``half_days``."""

    place: str
    first: float
    half_days: float
    tried: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Member:
    """A member of the invented hall.

    Attributes
    ----------
    body : Person
        For the body model.
    about : str
    time_s : float
        True time at full bodyweight on the first day, passive: the median of what could be held.
    gain : float
        Growth of the log of that time in the end; ``settle_days`` is how fast it comes.
    active_factor : float
        Active hangs last so much shorter.
    exponent, spread : float
        b and sigma of ``ln T = a + b ln beta + sigma eps``.
    attendance : float
        Chance of coming on a day.
    sets : int
        Holds of a session.
    swing_deg : float
        Typical amplitude on the first day; halved in 30 days.
    by_hand : float
        Chance of a hang at home on a day, entered by hand.
    template : str
        Programme.
    answers : dict
        Intake.
    ache : Ache or None
    stops_on : int or None
        Day on which the person was away for two weeks.
    units : str
    """

    body: Person
    about: str
    time_s: float
    gain: float
    settle_days: float
    active_factor: float = 0.75
    exponent: float = -1.61
    spread: float = 0.2
    attendance: float = 0.55
    sets: int = 8
    swing_deg: float = 1.6
    by_hand: float = 0.0
    template: str = "first_hangs"
    answers: dict[str, Any] = field(default_factory=dict)
    ache: Ache | None = None
    stops_on: int | None = None
    units: str = "kgf"


def _answers(passive: bool, active: bool, **more: Any) -> dict[str, Any]:
    return {"passive_30s": passive, "active_30s": active, "pain_now": 0, **more}


MEMBERS: tuple[Member, ...] = (
    Member(
        Person("Ilva", 71.8, 1.66, kappa=0.846, tremor_N=1.5, left_share=0.52),
        "begins: cannot hang yet",
        time_s=9.0,
        gain=1.05,
        settle_days=40.0,
        answers=_answers(False, False, overhead_reach="at_the_wall", elbows_beyond_straight=True),
    ),
    Member(
        Person("Bram Osk", 96.4, 1.88, kappa=0.836, arm_Hz=2.9, left_share=0.49),
        "strong and stiff, more passive at first",
        time_s=24.0,
        gain=0.75,
        settle_days=35.0,
        spread=0.17,
        answers=_answers(False, False, overhead_reach="further_away", chin_over_bar_10s=True),
        by_hand=0.2,
    ),
    Member(
        Person("Sunniva T.", 58.1, 1.71, kappa=0.85, arm_Hz=3.4),
        "mobile and weak, a shoulder that hurts and calms down",
        time_s=17.0,
        gain=0.8,
        settle_days=30.0,
        active_factor=0.9,
        answers=_answers(
            False,
            False,
            shoulder_pain_passive=True,
            overhead_reach="at_the_wall",
            thumb_to_forearm=True,
            pain_now=3,
            pain_places=["shoulder"],
        ),
        ache=Ache("shoulder", 3.4, 16.0),
    ),
    Member(
        Person("Teo", 82.7, 1.79, kappa=0.84, endurance_s=70.0),
        "hangs already, lower back to be watched",
        time_s=38.0,
        gain=0.45,
        settle_days=30.0,
        template="long_hangs",
        answers=_answers(True, False, back_pain_passive=True, overhead_reach="a_hand_away"),
        ache=Ache("lower_back", 2.6, 14.0, ("ribs_down",)),
        by_hand=0.15,
        units="lbf",
    ),
    Member(
        Person("Marit", 63.9, 1.74, kappa=0.848, endurance_s=85.0, tremor_N=1.0),
        "long and quiet",
        sets=7,
        time_s=66.0,
        gain=0.35,
        settle_days=25.0,
        active_factor=0.7,
        spread=0.14,
        swing_deg=0.8,
        template="long_hangs",
        answers=_answers(True, True, overhead_reach="a_hand_away"),
        attendance=0.7,
    ),
    Member(
        Person("Gunnar", 88.9, 1.83, kappa=0.838, arm_Hz=3.0),
        "a dislocated shoulder last year, after asking a clinician; away for two weeks, and back",
        time_s=20.0,
        gain=0.7,
        settle_days=30.0,
        answers=_answers(False, False, overhead_reach="a_hand_away", recent_surgery_or_dislocation=True),
        stops_on=24,
        attendance=0.5,
        units="%BW",
    ),
)
