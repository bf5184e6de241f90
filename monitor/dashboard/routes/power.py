"""REST: an owner ends the program or switches the machine off without pulling the plug."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.security.refusals import Refusal

PowerAction = Literal["end", "restart", "switch_off"]

WORDS: dict[PowerAction, str] = {
    "end": "The program ends as soon as everything that was measured is on the disk.",
    "restart": "The program ends as soon as everything that was measured is on the disk, and starts again by itself.",
    "switch_off": "The machine switches itself off as soon as everything that was measured is on the disk. "
    "Wait until its lamp is dark before pulling the plug.",
}


class ProgramEnd:
    """Ends the program once; ``status`` is then its exit status, which tells a service manager what to do next.

    Parameters
    ----------
    is_service : bool
        A service manager runs the program and acts on its exit status.
    """

    RESTART, SWITCH_OFF = 86, 85
    """Exit statuses that the service's unit knows."""

    def __init__(self, *, is_service: bool = False) -> None:
        self.actions: tuple[PowerAction, ...] = ("switch_off", "restart") if is_service else ("end",)
        self.requested: PowerAction | None = None
        self.end: Callable[[], None] = lambda: None
        """Called once an end was requested; set by the server."""

    def ask(self, action: PowerAction) -> None:
        """End the program; the first request counts."""
        if self.requested is None:
            self.requested = action
            self.end()

    @property
    def status(self) -> int:
        """Return the program's exit status."""
        return {None: 0, "end": 0, "restart": self.RESTART, "switch_off": self.SWITCH_OFF}[self.requested]


class SomebodyHangs(Refusal):
    """The program was to be ended while somebody hangs."""

    code = "somebody-hangs"
    status = 409

    def __init__(self) -> None:
        super().__init__(
            what="Somebody hangs from the bar right now.",
            means="Nothing was ended; their hold would be cut off.",
            do='Wait until they have let go, or ask again with "although_somebody_hangs": true.',
        )


class PowerNotPossible(Refusal):
    """The program cannot do that where it runs."""

    code = "power-not-possible"
    status = 409

    def __init__(self, action: str, possible: tuple[str, ...]) -> None:
        super().__init__(
            what=f"The program cannot do {action!r} where it runs.",
            means="Nothing was ended.",
            do=f"Possible here: {', '.join(possible)}. Switching off needs the installed service (hang-monitor "
            "install-service).",
        )


class PowerModel(BaseModel):
    """What an owner may do here, whether somebody hangs now, and what is already under way."""

    actions: list[PowerAction]
    somebody_hangs: bool
    doing: PowerAction | None


class PowerGiven(BaseModel):
    """What is to be done."""

    model_config = ConfigDict(extra="forbid")

    action: PowerAction
    although_somebody_hangs: bool = Field(default=False, strict=True)


class PowerDone(BaseModel):
    """What is done now, in words for the screen."""

    doing: PowerAction
    words: str


def power_routes(power: ProgramEnd, hub: LiveHub) -> APIRouter:
    """Return the routes ``GET /power`` and ``POST /power``, for owners."""
    router = APIRouter(tags=["power"])

    @router.get("/power", response_model=PowerModel)
    def read() -> PowerModel:
        """Tell what an owner may do here."""
        return PowerModel(actions=list(power.actions), somebody_hangs=_somebody_hangs(hub), doing=power.requested)

    @router.post("/power", response_model=PowerDone, status_code=202)
    def change(given: PowerGiven) -> PowerDone:
        """End the program, start it again or switch the machine off, once everything is on the disk."""
        if given.action not in power.actions:
            raise PowerNotPossible(given.action, power.actions)
        if _somebody_hangs(hub) and not given.although_somebody_hangs:
            raise SomebodyHangs
        power.ask(given.action)
        return PowerDone(doing=given.action, words=WORDS[given.action])

    return router


def _somebody_hangs(hub: LiveHub) -> bool:
    _, age_s, picture = hub.newest()
    return picture is not None and age_s is not None and age_s < 5.0 and picture.scene == "hanging"
