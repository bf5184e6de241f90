"""REST: what the screen at the bar tells beside the measurement, today's queue, how people are called there."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from monitor.coaching.at_the_bar import Asked
from monitor.coaching.prescription import Reserve
from monitor.dashboard.coaching_shapes import Given
from monitor.dashboard.doors import Coach


class CalledShape(BaseModel):
    """Who is named: a guest, or what the person chose to be called here; empty: neither name nor initials."""

    guest: bool
    shown: str


class RestShape(BaseModel):
    """Seconds since the last release, and the rest that is asked for."""

    since_s: float
    rest_s: float | None


class StepOnShape(BaseModel):
    """Who steps on, as far as the weight tells; ``left_s``: seconds of standing still until the name counts."""

    state: Literal["off", "nobody", "weighing", "offered", "taken", "guest", "unsure", "crowded"]
    person_uid: str | None
    shown: str
    left_s: int | None
    others: int


class BarShape(BaseModel):
    """Everything beside the picture. Help is a share of bodyweight; no full name unless the person chose it."""

    who: CalledShape
    asked: Asked | None
    target_s: float | None
    alpha: float
    alpha_max: float | None
    short_of_target: bool | None
    reserve: Reserve | None
    rest: RestShape | None
    due_in_s: float | None
    step_on: StepOnShape
    queue: list[str]
    next_up: str | None


class QueueGiven(Given):
    """Who comes today, in order."""

    people: list[str] = Field(max_length=200)


class QueueShape(BaseModel):
    """Who comes today, in order, as uids."""

    people: list[str]


class CalledGiven(Given):
    """How somebody wants to be called on screens that everybody sees."""

    shown: Literal["initials", "name", "nothing"]


def bar_routes(coach: Coach) -> APIRouter:
    """Return the routes ``/bar``, ``/queue`` and ``/people/{uid}/called``."""
    router = APIRouter(tags=["people"])
    bar = coach.bar

    @router.get("/bar", response_model=BarShape)
    def card() -> dict[str, Any]:
        """Tell who hangs, what is asked of them, how long they rest, who and what is next; the feed sends the same."""
        return bar.card()

    @router.get("/queue", response_model=QueueShape)
    def queue() -> QueueShape:
        """List who comes today, in order."""
        return QueueShape(people=bar.queue())

    @router.put("/queue", response_model=QueueShape)
    def set_queue(given: QueueGiven) -> QueueShape:
        """Say who comes today. Whoever of them steps on is named by weight, after standing still under their name."""
        return QueueShape(people=bar.set_queue(given.people))

    @router.get("/people/{uid}/called", response_model=CalledGiven)
    def called(uid: str) -> CalledGiven:
        """Tell how somebody wants to be called on the wall."""
        coach.desk.person(uid)
        return CalledGiven(shown=bar.shown(uid))

    @router.put("/people/{uid}/called", response_model=CalledGiven)
    def set_called(uid: str, given: CalledGiven) -> CalledGiven:
        """Keep how somebody wants to be called on the wall."""
        bar.set_shown(uid, given.shown)
        return CalledGiven(shown=bar.shown(uid))

    return router
