"""REST: people, their intake, and who hangs now."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter

from monitor.coaching.live.live_advice import LiveAdvice
from monitor.coaching.people.intake import Question, intake_outcome, places, questions
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.views.coaching_models import (
    IntakeGiven,
    IntakeModel,
    OwnerGiven,
    PersonAnswer,
    PersonGiven,
    QuestionAnswer,
    WhoGiven,
    WhoModel,
    intake_shape,
)
from monitor.records.person import Person


def people_routes(coach: Coach) -> APIRouter:
    """Return the routes of people, their intakes, the session's owner, ``/who`` and ``/advice``."""
    router = APIRouter(tags=["people"])
    coaching = coach.coaching

    @router.get("/people", response_model=list[PersonAnswer])
    def everybody() -> list[Person]:
        """List everybody, by name."""
        return coaching.everybody()

    @router.post("/people", response_model=PersonAnswer, status_code=201)
    def add(person: PersonGiven) -> Person:
        """Add a person. A guest needs no record."""
        return coaching.add_person(**person.model_dump())

    @router.get("/people/{uid}", response_model=PersonAnswer)
    def one(uid: str) -> Person:
        """Return a person."""
        return coaching.person(uid)

    @router.put("/people/{uid}", response_model=PersonAnswer)
    def change(uid: str, person: PersonGiven) -> Person:
        """Change a person; every field is written."""
        return coaching.change_person(uid, **person.model_dump())

    @router.get("/intake/questions", response_model=list[QuestionAnswer])
    def question_list() -> list[Question]:
        """List the questions of the intake in their order."""
        return [replace(q, choices=tuple(places())) if q.answer == "places" else q for q in questions()]

    @router.get("/people/{uid}/intakes", response_model=list[IntakeModel])
    def intakes(uid: str) -> list[IntakeModel]:
        """List a person's questionnaires, newest first; the conclusions are recomputed from the answers."""
        coaching.person(uid)
        return [intake_shape(entry, intake_outcome(entry.answers)) for entry in coaching.store.people.intakes(uid)]

    @router.post("/people/{uid}/intakes", response_model=IntakeModel, status_code=201)
    def take(uid: str, given: IntakeGiven) -> IntakeModel:
        """Store a questionnaire and return its conclusions. It is no medical clearance."""
        return intake_shape(*coaching.take_intake(uid, given.answers))

    @router.get("/who", response_model=WhoModel)
    def who() -> WhoModel:
        """Tell who hangs now."""
        return _who(coach)

    @router.put("/who", response_model=WhoModel)
    def set_who(given: WhoGiven) -> WhoModel:
        """Set who hangs from now on; a session in progress is theirs."""
        coach.set_person(given.person_uid, given.item)
        return _who(coach)

    @router.put("/sessions/{session_uid}/person", status_code=204)
    def set_owner(session_uid: str, given: OwnerGiven) -> None:
        """Set afterwards who hung in a session."""
        coaching.store.people.assign_session(session_uid, given.person_uid)

    @router.get("/advice", response_model=LiveAdvice)
    def advice() -> LiveAdvice:
        """Return the reserve used and the time left of the running hold, updated about once a second."""
        return coach.live.now()

    return router


def _who(coach: Coach) -> WhoModel:
    uid = coach.person_uid
    person = None if uid is None else coach.coaching.store.people.get(uid)
    return WhoModel(person_uid=uid, name=None if person is None else person.name)
