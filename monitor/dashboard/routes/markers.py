"""REST: markers of cues, pain and notes at an instant of a session: add with one tap, remove, restore."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from monitor.coaching.safety.stop_rules import Stop
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.security.authorization import who_asks
from monitor.dashboard.security.refusals import Refusal
from monitor.dashboard.views.coaching_models import Given, StopAnswer
from monitor.dashboard.views.models import RowId
from monitor.dashboard.views.problems import InvalidRequest, NotThere
from monitor.dashboard.views.record_answers import Answer
from monitor.records.marker import Marker
from monitor.records.stored_hold import StoredHold

AROUND_s = 5.0
"""A marker belongs to a hold if it lies within it or at most this far outside: pain is reported just after release."""


class NobodyOnTheRig(Refusal):
    """A marker was made with one tap while nobody is on the rig, nor was a moment ago."""

    code = "nobody-on-the-rig"
    status = 409

    def __init__(self) -> None:
        super().__init__(
            what="Nobody is on the rig, nor was a moment ago.",
            means="No marker was saved.",
            do="Open the hold and mark it there.",
        )


class MarkerGiven(Given):
    """A marker. ``cue``: something was said or shown; ``pain`` may carry how much (0 to 10) and where.

    ``at_s`` is on the time axis of the holds and pictures. With a rating the pain is stored with the person's entries,
    too, and the stop rules use it; removing the marker leaves that entry.
    """

    kind: Literal["cue", "pain", "note"]
    text: str = Field(default="", max_length=2000)
    pain: int | None = Field(default=None, ge=0, le=10)
    place: str | None = Field(default=None, max_length=40)
    at_s: Annotated[float | None, Field(default=None, allow_inf_nan=False, ge=0, le=1e12)] = None


MarkerAnswer = Annotated[Marker, Answer(without=("removed_by",))]


class MarkerSaved(BaseModel):
    """The marker and, if it rates pain, the pauses now in force."""

    marker: MarkerAnswer
    stops: list[StopAnswer]


# Ruff adds up the branches of the routes inside; each route alone has few.
def marker_routes(coach: Coach) -> APIRouter:  # noqa: C901
    """Return the routes ``/markers``, ``/holds/{uid}/markers`` and ``/sessions/{uid}/markers``."""
    router = APIRouter(tags=["markers"])
    coaching = coach.coaching
    stored_markers = coaching.store.markers

    def wanted(uid: str) -> StoredHold:
        hold = coaching.store.get_hold(uid)
        if hold is None:
            raise NotThere(f"hold {uid[:80]!r}")
        return hold

    def add(
        request: Request, given: MarkerGiven, session_uid: str, at_s: float, hold: StoredHold | None
    ) -> MarkerSaved:
        if given.kind != "pain" and (given.pain is not None or given.place is not None):
            raise InvalidRequest(f"pain: a {given.kind} has none")
        session = coaching.store.get_session(session_uid)
        person_uid = session.person_uid if session is not None else None
        stops: list[Stop] = []
        if given.pain is not None and person_uid is not None:
            # First: a place that does not exist refuses the whole of it.
            _, stops = coaching.log_pain(
                person_uid, given.pain, place=given.place, hold_uid=hold.uid if hold else None, note=given.text
            )
        text = given.text if given.place is None else f"{given.place.replace('_', ' ')} {given.text}".strip()
        made = stored_markers.add(session_uid, given.kind, at_s, text=text, pain=given.pain, made_by=who_asks(request))
        return MarkerSaved(marker=made, stops=stops)

    @router.post("/markers", response_model=MarkerSaved, status_code=201)
    def mark_now(request: Request, given: MarkerGiven) -> MarkerSaved:
        """Mark whoever is on the rig, or was a moment ago: at ``at_s`` of the picture that is shown, or now."""
        running = coach.running_session()
        if running is None:
            raise NobodyOnTheRig
        session_uid, now_s = running
        at_s = now_s if given.at_s is None else given.at_s
        if abs(at_s - now_s) > 60.0:
            raise InvalidRequest("at_s: it lies more than a minute away from now")
        return add(request, given, session_uid, at_s, None)

    @router.post("/holds/{uid}/markers", response_model=MarkerSaved, status_code=201)
    def mark_hold(request: Request, uid: str, given: MarkerGiven) -> MarkerSaved:
        """Mark an instant of a stored hold; without ``at_s`` its end."""
        hold = wanted(uid)
        at_s = hold.result.release_s if given.at_s is None else given.at_s
        if not hold.result.onset_s - AROUND_s <= at_s <= hold.result.release_s + AROUND_s:
            raise InvalidRequest("at_s: it does not lie in the hold")
        return add(request, given, hold.session_uid, at_s, hold)

    @router.get("/holds/{uid}/markers", response_model=list[MarkerAnswer])
    def of_hold(uid: str, removed: bool = False) -> list[Marker]:
        """List a hold's markers in time order, on the hold's own time axis."""
        hold = wanted(uid)
        first_s, last_s = hold.result.onset_s - AROUND_s, hold.result.release_s + AROUND_s
        shown = []
        for one in stored_markers.of_session(hold.session_uid, removed=removed):
            at_s = one.time_near(hold.result.onset_s)
            if first_s <= at_s <= last_s:
                shown.append(replace(one, at_s=at_s))
        return shown

    @router.get("/sessions/{session_uid}/markers", response_model=list[MarkerAnswer])
    def of_session(session_uid: str, removed: bool = False) -> list[Marker]:
        """List a session's markers in time order."""
        if coaching.store.get_session(session_uid) is None:
            raise NotThere(f"session {session_uid[:80]!r}")
        return stored_markers.of_session(session_uid, removed=removed)

    @router.delete("/markers/{number}", response_model=MarkerAnswer)
    def remove(request: Request, number: RowId) -> Marker:
        """Take a marker back."""
        return stored_markers.remove(number, who_asks(request))

    @router.post("/markers/{number}/restore", response_model=MarkerAnswer)
    def restore(request: Request, number: RowId) -> Marker:
        """Restore a removed marker."""
        return stored_markers.restore(number, who_asks(request))

    return router
