"""REST: a coach's corrections of holds. The measurement is unchanged and every correction can be undone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fastapi import APIRouter

from monitor.dashboard.interfaces import Coach, StoreReader
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.views.coaching_models import (
    CorrectionAnswer,
    CorrectionGiven,
    EndingGiven,
    HoldCorrections,
    UndoGiven,
)
from monitor.dashboard.views.json_views import event_view, hold_view
from monitor.dashboard.views.models import HoldModel, RowId
from monitor.dashboard.views.problems import InvalidRequest, NotThere
from monitor.records.correction import Correction
from monitor.records.stored_hold import StoredHold


# Ruff adds up the branches of the routes inside; each route alone has few.
def correction_routes(coach: Coach, reader: StoreReader, hub: LiveHub) -> APIRouter:  # noqa: C901
    """Return the routes ``/corrections``, ``/corrections/{id}/undo``, ``/holds/{uid}/corrections``, ``/ending``."""
    router = APIRouter(tags=["corrections"])
    store = coach.coaching.store

    def tell_screens(session_uid: str, change: Callable[[], Correction]) -> Correction:
        """Make a change and notify every screen of the holds it added, removed or changed."""
        before = {hold.uid: hold for hold in store.holds_of_session(session_uid)}
        made = change()
        after = {hold.uid: hold for hold in store.holds_of_session(session_uid)}
        for uid in before.keys() - after.keys():
            hub.publish_event(event_view("withdrawn", uid))
        for uid, hold in after.items():
            if before.get(uid) != hold:
                hub.publish_event(event_view("revised" if uid in before else "closed", uid, hold))
        session = store.get_session(session_uid)
        coach.coaching.changed(session.person_uid if session is not None else None)
        return made

    def wanted(uid: str) -> StoredHold:
        hold = store.get_hold(uid)
        if hold is None:
            raise NotThere(f"hold {uid[:80]!r}")
        return hold

    def content_of(given: CorrectionGiven) -> dict[str, Any]:
        needs = {"retag": "to_kind", "split": "at_s", "join": "with_uid"}.get(given.kind)
        if needs is not None and getattr(given, needs) is None:
            raise InvalidRequest(f"{needs}: a {given.kind} needs it")
        if given.kind == "retag":
            return {"kind": given.to_kind}
        if given.kind == "join":
            return {"with": given.with_uid}
        return {"at_s": given.at_s} if given.kind == "split" else {}

    @router.get("/corrections", response_model=list[CorrectionAnswer])
    def recent() -> list[Correction]:
        """List corrections, newest first, undone ones too."""
        return [_shown(one) for one in store.corrections.recent()]

    @router.get("/holds/{uid}/corrections", response_model=HoldCorrections)
    def of_hold(uid: str) -> dict[str, Any]:
        """Return a hold as measured, with all its corrections."""
        wanted(uid)
        measured = store.corrections.measured(uid)
        return {
            "measured": None if measured is None else hold_view(measured),
            "corrections": [_shown(one) for one in store.corrections.of_hold(uid)],
        }

    @router.post("/holds/{uid}/corrections", response_model=CorrectionAnswer, status_code=201)
    def make(uid: str, given: CorrectionGiven) -> Correction:
        """Correct a hold. The measurement is unchanged; every screen shows the corrected hold."""
        hold, content = wanted(uid), reader.measured_correction(uid, given.kind, content_of(given))
        made = tell_screens(
            hold.session_uid,
            lambda: store.corrections.make(uid, given.kind, content, reason=given.reason, made_by=given.made_by),
        )
        return _shown(made)

    @router.post("/corrections/{number}/undo", response_model=CorrectionAnswer)
    def undo(number: RowId, given: UndoGiven | None = None) -> Correction:
        """Undo a correction; corrections that depend on it are void until it is made again."""
        by = given.undone_by if given is not None else "coach"
        session_uid = store.corrections.get(number).session_uid
        return _shown(tell_screens(session_uid, lambda: store.corrections.undo(number, by)))

    @router.put("/holds/{uid}/ending", response_model=HoldModel)
    def ending(uid: str, given: EndingGiven) -> dict[str, Any]:
        """Say why a hold ended: ``exhausted``, ``target``, ``other``, or null if unknown."""
        store.corrections.set_ending(uid, given.ending)
        hold = wanted(uid)
        coach.coaching.changed(hold.person_uid)
        return hold_view(hold)

    return router


def _shown(one: Correction) -> Correction:
    """Return a correction without the results that it makes: they are the holds'."""
    return replace(one, content={name: value for name, value in one.content.items() if name != "measured"})
