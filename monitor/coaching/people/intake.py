"""The questions of an intake, as data, and what follows from the answers."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from monitor.coaching.errors import BadAnswers

Answer = Literal["yes_no", "pain", "places", "choice"]
Build = Literal["mobile_and_weak", "strong_and_stiff", "between"]

CLINICIAN = "Ask a licensed clinician before hanging"
CLEARED = "A licensed clinician was asked and allowed hanging"
CLINICIAN_CLEARED = "clinician_cleared"
"""Key of the question whose "yes" lifts the block of the same intake."""

RED_FLAG_PAIN = 4
"""Pain now of so much or more blocks, like the default programme's stop rule (common practice, no source)."""

MORE, EQUAL = 0.7, 0.5
"""First share of the favoured kind, and of both when nothing favours one (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question. ``clinician`` is what a "yes" means to a clinician, empty where it means nothing of the kind."""

    key: str
    text: str
    answer: Answer
    choices: tuple[str, ...] = ()
    clinician: str = ""


@dataclass(frozen=True, slots=True)
class IntakeOutcome:
    """What follows from an intake.

    Attributes
    ----------
    open_items : dict
        ``passive``, ``active``, ``assisted``: whether the item is open.
    reasons : dict
        Why, for each item.
    ask_clinician : list of str
        What calls for a licensed clinician first. The tool keeps the note; it clears nobody.
    build : str
        ``mobile_and_weak``, ``strong_and_stiff`` or ``between``.
    active_share : float
        First share of the active hang in the time; the rest is passive. The coach decides.
    share_reason : str
    cautions : list of str
    clinician_reasons : list of str
        Why nothing is prescribed; empty where nothing calls for a clinician or one has allowed hanging.
    cleared : bool
        A clinician was asked about these answers and allowed hanging, as a coach recorded.
    """

    open_items: dict[str, bool]
    reasons: dict[str, str]
    ask_clinician: list[str]
    build: Build
    active_share: float
    share_reason: str
    cautions: list[str] = field(default_factory=list)
    clinician_reasons: list[str] = field(default_factory=list)
    cleared: bool = False

    @property
    def blocked(self) -> str:
        """Return in plain words why nothing is prescribed and what to do; empty where nothing blocks."""
        if not self.clinician_reasons:
            return ""
        reasons = ", ".join(self.clinician_reasons)
        return (
            f"{reasons[0].upper()}{reasons[1:]}: ask a clinician before the first hang. "
            "A coach records what was allowed in the intake."
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the outcome as plain data."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> IntakeOutcome:
        """Rebuild an outcome; unknown keys of a newer version are ignored."""
        return cls(**{key: data[key] for key in cls.__dataclass_fields__ if key in data})


@cache
def _content() -> dict[str, Any]:
    return tomllib.loads(files("monitor.coaching.people").joinpath("intake_questions.toml").read_text(encoding="utf-8"))


def places() -> tuple[str, ...]:
    """Return the places of pain that can be named."""
    return tuple(_content()["places"])


@cache
def questions() -> tuple[Question, ...]:
    """Return the questions in their order."""
    return tuple(
        Question(q["key"], q["text"], q["answer"], tuple(q.get("choices", ())), q.get("clinician", ""))
        for q in _content()["question"]
    )


def checked_answers(answers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answers; a question that was left out may be missing or None.

    Raises
    ------
    BadAnswers
        An answer fits no question, or not its question.
    """
    by_key = {q.key: q for q in questions()}
    for key, answer in answers.items():
        question = by_key.get(key)
        if question is None:
            raise _bad(f"There is no question {str(key)[:60]!r}.", f"The questions are: {', '.join(by_key)}.")
        if answer is not None and not _fits(question, answer):
            raise _bad(f"{answer!r} is no answer to {key}.", _hint(question))
    return {key: answers[key] for key in by_key if answers.get(key) is not None}


def _fits(question: Question, answer: Any) -> bool:
    if question.answer == "yes_no":
        return isinstance(answer, bool)
    if question.answer == "pain":
        return isinstance(answer, int) and not isinstance(answer, bool) and 0 <= answer <= 10
    if question.answer == "places":
        return isinstance(answer, (list, tuple)) and all(place in places() for place in answer)
    return answer in question.choices


def _hint(question: Question) -> str:
    return {
        "yes_no": "Answer true or false.",
        "pain": "Give a whole number from 0 to 10.",
        "places": f"Give a list of {', '.join(places())}.",
        "choice": f"Choose one of {', '.join(question.choices)}.",
    }[question.answer]


def intake_outcome(answers: Mapping[str, Any]) -> IntakeOutcome:
    """Return what follows from answers.

    Raises
    ------
    BadAnswers
    """
    checked = checked_answers(answers)
    passive, active = bool(checked.get("passive_30s")), bool(checked.get("active_30s"))
    open_items = {"passive": passive, "active": active, "assisted": True}
    reasons = {
        "passive": "30 s passive without help" if passive else "not yet 30 s passive without help: assisted first",
        "active": "30 s active without help" if active else "not yet 30 s active without help: assisted first",
        "assisted": "always open",
    }
    build = _build(checked)
    share, share_reason = _share(checked, build)
    pain = checked.get("pain_now", 0)
    cautions = []
    if pain:
        where = ", ".join(p.replace("_", " ") for p in checked.get("pain_places", ())) or "place not told"
        cautions.append(f"Pain {pain} of 10 now ({where}).")
    if checked.get("back_pain_passive"):
        cautions.append("The lower back hurts in the passive hang: go through the cues for the lower back.")
    ask_clinician = [q.clinician for q in questions() if q.clinician and checked.get(q.key)]
    cleared = bool(checked.get(CLINICIAN_CLEARED))
    clinician_reasons = [f"pain {pain} of 10"] if pain >= RED_FLAG_PAIN else []
    return IntakeOutcome(
        open_items=open_items,
        reasons=reasons,
        ask_clinician=ask_clinician,
        build=build,
        active_share=share,
        share_reason=share_reason,
        cautions=cautions,
        clinician_reasons=[] if cleared else clinician_reasons + ask_clinician,
        cleared=cleared,
    )


def _build(checked: Mapping[str, Any]) -> Build:
    reach = checked.get("overhead_reach")
    lax = bool(checked.get("elbows_beyond_straight")) or bool(checked.get("thumb_to_forearm"))
    strong = bool(checked.get("chin_over_bar_10s"))
    if (lax or reach == "at_the_wall") and not strong and reach != "further_away":
        return "mobile_and_weak"
    return "strong_and_stiff" if strong and reach in ("a_hand_away", "further_away") and not lax else "between"


def _share(checked: Mapping[str, Any], build: Build) -> tuple[float, str]:
    if checked.get("shoulder_pain_passive"):
        return MORE, "A shoulder hurts in the passive hang: more active at first."
    if build == "mobile_and_weak":
        return MORE, "Mobile and rather weak: more active at first."
    if build == "strong_and_stiff":
        return 1 - MORE, "Strong and rather stiff: more passive at first."
    return EQUAL, "Nothing speaks for one kind: both alike."


def active_share_now(outcome: IntakeOutcome, passive_progress: float, active_progress: float) -> tuple[float, str]:
    """Return today's share of the active hang: the first one drifts to equal as the person changes.

    Parameters
    ----------
    passive_progress, active_progress : float
        How far the longest hold of each kind has come from its start to its goal, 0 to 1.
    """
    favoured = active_progress if outcome.active_share > EQUAL else passive_progress
    come = min(1.0, max(0.0, favoured))
    share = EQUAL + (outcome.active_share - EQUAL) * (1 - come)
    if outcome.active_share == EQUAL or come == 0:
        return share, outcome.share_reason
    return share, f"{outcome.share_reason} {come:.0%} of the way to its goal is done: drifting to equal."


def _bad(what: str, do: str) -> BadAnswers:
    return BadAnswers(what=what, means="The intake was not saved.", do=do)
