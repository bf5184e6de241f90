"""The screens' addresses, and what a screen must know before it asks for more."""

from __future__ import annotations

import dataclasses
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel

from monitor.dashboard.doors import Coach
from monitor.dashboard.screens import PIECES, Screen

STATIC = Path(__file__).parent / "static"

BENCH = ("sheet", "bench")
DESK = ("sheet", "desk")
SCREENS = {
    "/": Screen("live", ("live",), script="page", frame=None, kind="wall"),
    "/coach": Screen("live", ("live", "coach"), script="coach", frame=None, kind="coach", pieces=PIECES),
    "/sign-in": Screen("sign-in", ("sign-in",), frame=None),
    "/holds": Screen("hold-list", DESK),
    "/rig": Screen("rig", BENCH),
    "/rig/zero": Screen("walk", BENCH),
    "/rig/calibrate": Screen("walk", BENCH),
    "/rig/check": Screen("walk", BENCH),
    "/first-steps": Screen("first-steps", BENCH),
    "/people": Screen("people"),
    "/settings": Screen("settings", DESK, script="preferences"),
    "/person/{uid}": Screen("person", DESK),
    "/hold/{uid}": Screen("hold", DESK),
}
"""Every screen at its address; what it shows, it reads from REST."""


class ScreensShape(BaseModel):
    """What a screen may offer.

    ``coaching``: people, programmes and corrections; ``jobs``: long work; ``power``: the program's end; ``house``:
    where everything is kept; ``door``: passcodes and sign-ins; ``bench``: zero, calibration and check of the rig.
    """

    coaching: bool
    jobs: bool
    power: bool
    house: bool
    door: bool
    bench: bool = False


@dataclass(frozen=True, slots=True)
class Offers:
    """What this program serves beside the measurement and the coaching."""

    jobs: bool = False
    power: bool = False
    house: bool = False
    door: bool = False
    bench: bool = False


class CellCalibration(BaseModel):
    """Zero and span of one cell: when each was read, and the span's relative standard uncertainty."""

    channel: str
    zero_at: str | None
    span_at: str | None
    u_rel_span: float | None


class CalibrationShape(BaseModel):
    """The calibration that was in force in the last stay on the rig."""

    id: str
    stay_uid: str
    stay_utc_ms: int
    channels: list[CellCalibration]


def page_routes(nothing_yet: Callable[[], bool] = lambda: False) -> APIRouter:
    """Return the routes of the screens themselves; with nothing to show yet the first one leads to the first steps."""
    router = APIRouter(include_in_schema=False)
    if nothing_yet():
        router.add_api_route("/", lambda: RedirectResponse("/first-steps", 303), methods=["GET"], response_model=None)
    for address, screen in SCREENS.items():
        router.add_api_route(address, _giver(screen), methods=["GET"])
    return router


def screen_routes(coach: Coach | None, offers: Offers) -> APIRouter:
    """Return the routes ``/screens`` and ``/rig/calibration``."""
    router = APIRouter(tags=["screens"])

    @router.get("/screens", response_model=ScreensShape)
    def screens() -> ScreensShape:
        """Tell what the screens may offer."""
        return ScreensShape(coaching=coach is not None, **dataclasses.asdict(offers))

    @router.get("/rig/calibration", response_model=CalibrationShape | None)
    def calibration() -> CalibrationShape | None:
        """Return the calibration of the last stay on the rig, null before the first."""
        if coach is None:
            return None
        for stay in coach.desk.store.list_stays(1):
            if stay.calibration is not None:
                keys = ("zero_at", "span_at", "u_rel_span")
                cells = [
                    CellCalibration(channel=one["channel"], **{key: one.get(key) or None for key in keys})
                    for one in stay.calibration["channels"]
                ]
                return CalibrationShape(
                    id=stay.calibration.get("id", ""),
                    stay_uid=stay.uid,
                    stay_utc_ms=stay.started_utc_ns // 1_000_000,
                    channels=cells,
                )
        return None

    return router


def _giver(screen: Screen) -> Callable[[], Awaitable[HTMLResponse]]:
    html = screen.html()

    async def give() -> HTMLResponse:
        return HTMLResponse(html)

    return give
