"""REST: what the screen at the bar shows beside the measurement, today's queue, and the names shown there."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from monitor.coaching.endurance.forecast import Reserve
from monitor.coaching.live.bar_panel import RequestedHold
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.views.coaching_models import Given


class CalledModel(BaseModel):
    """The displayed name: a guest, or what the person chose to be called here; empty: neither name nor initials."""

    guest: bool
    shown: str


class RestModel(BaseModel):
    """Seconds since the last release, and the prescribed rest."""

    since_s: float
    rest_s: float | None


class StepOnModel(BaseModel):
    """Who is stepping on, judged by weight; ``left_s``: seconds of standing still until the name counts."""

    state: Literal["off", "nobody", "weighing", "offered", "taken", "guest", "unsure", "crowded"]
    person_uid: str | None
    shown: str
    left_s: int | None
    others: int


class BarModel(BaseModel):
    """Everything beside the picture. Help is a share of bodyweight; no full name unless the person chose it.

    ``paused``: why the named person does not hang now, and what to do; empty where they may.
    """

    who: CalledModel
    paused: str
    requested: RequestedHold | None
    target_s: float | None
    alpha: float
    alpha_max: float | None
    short_of_target: bool | None
    reserve: Reserve | None
    rest: RestModel | None
    due_in_s: float | None
    step_on: StepOnModel
    queue: list[str]
    next_up: str | None


class QueueGiven(Given):
    """Who comes today, in order."""

    people: list[str] = Field(max_length=200)


class QueueModel(BaseModel):
    """Who comes today, in order, as uids."""

    people: list[str]


class CalledGiven(Given):
    """How somebody wants to be called on screens that everybody sees."""

    shown: Literal["initials", "name", "nothing"]


def bar_routes(coach: Coach) -> APIRouter:
    """Return the routes ``/bar``, ``/queue`` and ``/people/{uid}/called``."""
    router = APIRouter(tags=["people"])
    bar = coach.bar

    @router.get("/bar", response_model=BarModel)
    def view() -> dict[str, Any]:
        """Return who hangs, their target, their rest, and who and what is next; the live feed sends the same."""
        return bar.view()

    @router.get("/queue", response_model=QueueModel)
    def queue() -> QueueModel:
        """List who comes today, in order."""
        return QueueModel(people=bar.queue())

    @router.put("/queue", response_model=QueueModel)
    def set_queue(given: QueueGiven) -> QueueModel:
        """Set today's queue. People in it are recognised by weight after standing still under their name."""
        return QueueModel(people=bar.set_queue(given.people))

    @router.get("/people/{uid}/called", response_model=CalledGiven)
    def called(uid: str) -> CalledGiven:
        """Return how a person wants to be called on the wall screen."""
        coach.coaching.person(uid)
        return CalledGiven(shown=bar.shown(uid))

    @router.put("/people/{uid}/called", response_model=CalledGiven)
    def set_called(uid: str, given: CalledGiven) -> CalledGiven:
        """Store how a person wants to be called on the wall screen."""
        bar.set_shown(uid, given.shown)
        return CalledGiven(shown=bar.shown(uid))

    return router
