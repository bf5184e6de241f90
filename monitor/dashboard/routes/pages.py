"""The screens' addresses, and what a screen needs to know first."""

from __future__ import annotations

import dataclasses
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel

from monitor.dashboard.interfaces import Coach
from monitor.dashboard.views.screen_templates import PIECES, Screen

STATIC = Path(__file__).parents[1] / "static"

PROCEDURES = ("sheet", "procedures")
FORMS = ("sheet", "forms")
SCREENS = {
    "/": Screen("live", "live/live-page", ("live",), frame=None, kind="wall"),
    "/coach": Screen("live", "coach/coach-page", ("live", "coach"), frame=None, kind="coach", pieces=PIECES),
    "/sign-in": Screen("sign-in", "site/sign-in", ("sign-in",), frame=None),
    "/holds": Screen("hold-list", "holds/hold-list", FORMS),
    "/rig": Screen("rig", "rig/rig", PROCEDURES),
    "/rig/zero": Screen("procedure", "rig/procedure", PROCEDURES),
    "/rig/calibrate": Screen("procedure", "rig/procedure", PROCEDURES),
    "/rig/check": Screen("procedure", "rig/procedure", PROCEDURES),
    "/first-steps": Screen("first-steps", "rig/first-steps", PROCEDURES),
    "/people": Screen("people", "person/people"),
    "/settings": Screen("settings", "settings/settings", FORMS),
    "/person/{uid}": Screen("person", "person/person", FORMS),
    "/hold/{uid}": Screen("hold", "holds/hold", FORMS),
}
"""Every screen at its address; what it shows, it reads from REST."""


class ScreensModel(BaseModel):
    """What a screen may offer.

    ``coaching``: people, programmes and corrections; ``jobs``: long work; ``power``: the program's end;
    ``maintenance``: data folder and disk space; ``authorization``: passcodes and sign-ins; ``procedures``: zero,
    calibration and check of the rig.
    """

    coaching: bool
    jobs: bool
    power: bool
    maintenance: bool
    authorization: bool
    procedures: bool = False


@dataclass(frozen=True, slots=True)
class Offers:
    """What this program serves beside the measurement and the coaching."""

    jobs: bool = False
    power: bool = False
    maintenance: bool = False
    authorization: bool = False
    procedures: bool = False


class CellCalibration(BaseModel):
    """Zero and span of one cell: when each was read, and the span's relative standard uncertainty."""

    channel: str
    zero_at: str | None
    span_at: str | None
    u_rel_span: float | None


class CalibrationModel(BaseModel):
    """The calibration that was in force in the last session on the rig."""

    id: str
    session_uid: str
    session_utc_ms: int
    channels: list[CellCalibration]


def page_routes(nothing_yet: Callable[[], bool] = lambda: False) -> APIRouter:
    """Return the routes of the screens themselves; with nothing to show yet, ``/`` redirects to the first steps."""
    router = APIRouter(include_in_schema=False)
    if nothing_yet():
        router.add_api_route("/", lambda: RedirectResponse("/first-steps", 303), methods=["GET"], response_model=None)
    for address, screen in SCREENS.items():
        router.add_api_route(address, _giver(screen), methods=["GET"])
    return router


def screen_routes(coach: Coach | None, offers: Offers) -> APIRouter:
    """Return the routes ``/screens`` and ``/rig/calibration``."""
    router = APIRouter(tags=["screens"])

    @router.get("/screens", response_model=ScreensModel)
    def screens() -> ScreensModel:
        """Tell what the screens may offer."""
        return ScreensModel(coaching=coach is not None, **dataclasses.asdict(offers))

    @router.get("/rig/calibration", response_model=CalibrationModel | None)
    def calibration() -> CalibrationModel | None:
        """Return the calibration of the last session on the rig, null before the first."""
        if coach is None:
            return None
        for session in coach.coaching.store.list_sessions(1):
            if session.calibration is not None:
                keys = ("zero_at", "span_at", "u_rel_span")
                cells = [
                    CellCalibration(channel=one["channel"], **{key: one.get(key) or None for key in keys})
                    for one in session.calibration["channels"]
                ]
                return CalibrationModel(
                    id=session.calibration.get("id", ""),
                    session_uid=session.uid,
                    session_utc_ms=session.started_utc_ns // 1_000_000,
                    channels=cells,
                )
        return None

    return router


def _giver(screen: Screen) -> Callable[[], Awaitable[HTMLResponse]]:
    html = screen.html()

    async def give() -> HTMLResponse:
        return HTMLResponse(html)

    return give
