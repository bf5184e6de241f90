"""Shapes of what is sent and answered about people, for the description under ``/api/openapi.json``.

Records, and what the coaching computes (prescription, progress, comparison, advice), are answered as they are.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from monitor.coaching.people.intake import IntakeOutcome, Question
from monitor.coaching.safety.stop_rules import Stop
from monitor.dashboard.views.models import MOST_UTC_MS, Day, HoldModel
from monitor.dashboard.views.record_answers import NS_PER_MS, Answer
from monitor.measures.swing_calibration import U_ANGLE_DEG
from monitor.records.correction import Correction
from monitor.records.person import Person
from monitor.records.person_entries import Intake, ManualHang, PainEntry
from monitor.records.swing_calibration import SwingCalibration


class Given(BaseModel):
    """What a screen sends: unknown fields are refused, numbers are finite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class PersonGiven(Given):
    """A person to be stored. ``consent_on`` is the date of consent (2026-03-31) or null."""

    name: str = Field(max_length=120)
    stature_m: float | None = None
    notes: str = Field(default="", max_length=20_000)
    consent_on: str | None = None
    units: str = "kgf"
    time_zone: str = "UTC"


PersonAnswer = Annotated[Person, Answer(without=("erased_utc_ns",))]


class SwingGiven(Given):
    """What somebody measured of a deliberate swing, ``after_s`` after the hold's onset.

    ``degrees`` is its amplitude; or ``reach_m`` how far apart the turning points of the toes lie, and ``length_m`` how
    far below the bar they are.
    """

    hold_uid: str = Field(max_length=80)
    after_s: float = Field(ge=0, le=36_000)
    degrees: float | None = Field(default=None, gt=0, le=90)
    u_degrees: float = Field(default=U_ANGLE_DEG, gt=0, le=10)
    reach_m: float | None = Field(default=None, gt=0, le=10)
    length_m: float | None = Field(default=None, gt=0, le=10)


class SwingCalibrationModel(BaseModel):
    """A stored deliberate swing: the measured amplitude, the amplitude from the cells, and the resulting kappa."""

    id: int
    hold_uid: str
    at_utc_ms: int
    after_s: float
    measured_deg: float
    u_measured_deg: float
    told_deg: float
    kappa: float
    kappa_u: float


class PendulumModel(BaseModel):
    """A person as a pendulum: the kappa used for their swings, and the swings it is derived from."""

    kappa: float
    kappa_u: float
    swings: list[SwingCalibrationModel]


def swing_shape(one: SwingCalibration) -> SwingCalibrationModel:
    """Return a deliberate swing as it is answered."""
    return SwingCalibrationModel(
        id=one.id,
        hold_uid=one.hold_uid,
        at_utc_ms=one.at_utc_ns // NS_PER_MS,
        after_s=one.after_s,
        measured_deg=one.measured_deg,
        u_measured_deg=one.u_measured_deg,
        told_deg=one.told_deg,
        kappa=one.kappa,
        kappa_u=one.kappa * one.u_rel,
    )


class WhoGiven(Given):
    """Who hangs from now on; null is a guest. ``item``: key of the programme's item, the next one when left out."""

    person_uid: str | None
    item: str | None = None


class WhoModel(BaseModel):
    """Who hangs now; null is a guest."""

    person_uid: str | None
    name: str | None


QuestionAnswer = Annotated[Question, Answer(without=("clinician",))]


class IntakeGiven(Given):
    """Answers by question; a question may be left out."""

    answers: dict[str, bool | int | str | list[str] | None]


class IntakeModel(BaseModel):
    """A questioning and what follows from it."""

    id: int
    at_utc_ms: int
    answers: dict[str, Any]
    outcome: IntakeOutcome


class PainGiven(Given):
    """Pain on the numeric rating scale, 0 to 10."""

    pain: int = Field(ge=0, le=10)
    place: str | None = None
    symptoms: list[str] = []
    hold_uid: str | None = Field(default=None, max_length=80)
    item: str | None = Field(default=None, max_length=40)
    tried: list[str] = Field(default=[], max_length=20)
    note: str = Field(default="", max_length=5000)


PainAnswer = Annotated[PainEntry, Answer(without=("person_uid",))]
StopAnswer = Annotated[Stop, Answer(also=("words",))]


class PainSaved(BaseModel):
    """The entry, and the pauses that are now in force."""

    entry: PainAnswer
    stops: list[StopAnswer]


class HangGiven(Given):
    """A hang away from the rig. ``at_utc_ms``: now when left out."""

    duration_s: float = Field(gt=0, le=3600)
    at_utc_ms: int | None = Field(default=None, ge=0, le=MOST_UTC_MS)
    kind: Literal["passive", "active", "mixed"] | None = None
    note: str = Field(default="", max_length=5000)


HangAnswer = Annotated[ManualHang, Answer(without=("person_uid", "created_utc_ns"))]


class ProgrammeModel(BaseModel):
    """A programme as data (the form of its TOML file), since when it is in force, and whether it is the default."""

    since_utc_ms: int | None
    content: dict[str, Any]


class PauseGiven(Given):
    """A pause: from ``first`` (today when left out) to ``last`` (until it is resumed), of everything or of one item."""

    first: Day | None = None
    last: Day | None = None
    item: str | None = Field(default=None, max_length=40)
    reason: str = Field(default="", max_length=500)


class ResumeGiven(Given):
    """Which item is resumed; null: everything."""

    item: str | None = Field(default=None, max_length=40)


class TemplateModel(BaseModel):
    """A template: its name, what it is, its TOML with comments, and the same as data."""

    name: str
    title: str
    about: str
    toml: str
    content: dict[str, Any]


class CorrectionGiven(Given):
    """A correction. ``retag`` needs ``to_kind``, ``split`` needs ``at_s``, ``join`` needs ``with_uid``."""

    kind: Literal["retag", "split", "join", "discard", "restore"]
    reason: str = Field(min_length=1, max_length=2000)
    made_by: str = Field(default="coach", min_length=1, max_length=120)
    to_kind: Literal["passive", "active", "mixed"] | None = None
    at_s: float | None = None
    with_uid: str | None = None


class UndoGiven(Given):
    """Who takes a correction back."""

    undone_by: str = Field(default="coach", min_length=1, max_length=120)


CorrectionAnswer = Annotated[Correction, Answer()]


class HoldCorrections(BaseModel):
    """A hold as it was measured, and everything that was corrected of it, oldest first."""

    measured: HoldModel | None
    corrections: list[CorrectionAnswer]


class EndingGiven(Given):
    """Why a hold ended; null: unknown."""

    ending: Literal["exhausted", "target", "other"] | None


class OwnerGiven(Given):
    """Who hung in a session; null makes it a guest's."""

    person_uid: str | None


def intake_shape(intake: Intake, outcome: IntakeOutcome) -> IntakeModel:
    """Return a questioning as a screen needs it."""
    return IntakeModel(id=intake.id, at_utc_ms=intake.at_utc_ns // NS_PER_MS, answers=intake.answers, outcome=outcome)
