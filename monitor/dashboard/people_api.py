"""REST: people, their intake, and who hangs now."""

from __future__ import annotations

from fastapi import APIRouter

from monitor.coaching.intake import intake_outcome, places, questions
from monitor.coaching.live import LiveAdvice
from monitor.dashboard.coaching_shapes import (
    IntakeGiven,
    IntakeShape,
    OwnerGiven,
    PersonGiven,
    PersonShape,
    QuestionShape,
    WhoGiven,
    WhoShape,
    intake_shape,
    person_shape,
)
from monitor.dashboard.doors import Coach


def people_routes(coach: Coach) -> APIRouter:
    """Return the routes of people, their intakes, the stay's owner, ``/who`` and ``/advice``."""
    router = APIRouter(tags=["people"])
    desk = coach.desk

    @router.get("/people", response_model=list[PersonShape])
    def everybody() -> list[PersonShape]:
        """List everybody, by name."""
        return [person_shape(person) for person in desk.everybody()]

    @router.post("/people", response_model=PersonShape, status_code=201)
    def add(person: PersonGiven) -> PersonShape:
        """Keep a new person. A guest needs no record."""
        return person_shape(desk.add_person(**person.model_dump()))

    @router.get("/people/{uid}", response_model=PersonShape)
    def one(uid: str) -> PersonShape:
        """Return a person."""
        return person_shape(desk.person(uid))

    @router.put("/people/{uid}", response_model=PersonShape)
    def change(uid: str, person: PersonGiven) -> PersonShape:
        """Change a person; every field is written."""
        return person_shape(desk.change_person(uid, **person.model_dump()))

    @router.get("/intake/questions", response_model=list[QuestionShape])
    def asked() -> list[QuestionShape]:
        """List the questions of the intake in their order."""
        return [
            QuestionShape(
                key=q.key, text=q.text, answer=q.answer, choices=list(places() if q.answer == "places" else q.choices)
            )
            for q in questions()
        ]

    @router.get("/people/{uid}/intakes", response_model=list[IntakeShape])
    def intakes(uid: str) -> list[IntakeShape]:
        """List a person's questionings, newest first; what follows is reckoned anew from the answers."""
        desk.person(uid)
        return [intake_shape(kept, intake_outcome(kept.answers)) for kept in desk.store.people.intakes(uid)]

    @router.post("/people/{uid}/intakes", response_model=IntakeShape, status_code=201)
    def take(uid: str, given: IntakeGiven) -> IntakeShape:
        """Keep a questioning and tell what follows from it. It clears nobody medically."""
        return intake_shape(*desk.take_intake(uid, given.answers))

    @router.get("/who", response_model=WhoShape)
    def who() -> WhoShape:
        """Tell who hangs now."""
        return _who(coach)

    @router.put("/who", response_model=WhoShape)
    def set_who(given: WhoGiven) -> WhoShape:
        """Say who hangs from now on; a stay in progress is theirs."""
        coach.set_person(given.person_uid, given.item)
        return _who(coach)

    @router.put("/stays/{stay_uid}/person", status_code=204)
    def set_owner(stay_uid: str, given: OwnerGiven) -> None:
        """Say afterwards who hung in a stay."""
        desk.store.people.assign_stay(stay_uid, given.person_uid)

    @router.get("/advice", response_model=LiveAdvice)
    def advice() -> LiveAdvice:
        """Tell reserve used and time left of the running hold, renewed about once a second."""
        return coach.live.now()

    return router


def _who(coach: Coach) -> WhoShape:
    uid = coach.person_uid
    person = None if uid is None else coach.desk.store.people.get(uid)
    return WhoShape(person_uid=uid, name=None if person is None else person.name)
