"""REST: the first steps, and the choice of a rig."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, Protocol

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from monitor.dashboard.interfaces import Coach, Control, RigView, StoreReader
from monitor.dashboard.security.authorization import who_asks
from monitor.dashboard.security.refusals import Refusal
from monitor.dashboard.views.coaching_models import Given
from monitor.health.builds import BUILDS
from monitor.health.check_history import newest_check
from monitor.procedures.procedure_manager import ProcedureManager

Ways = Literal["open", "fixed", "virtual"]
"""``open``: no rig yet, one can be chosen; ``fixed``: the rig was given at the start; ``virtual``: practice."""


class SetupFixed(Refusal):
    """A rig was to be chosen where the program was started with one."""

    code = "setup-fixed"
    status = 409

    def __init__(self) -> None:
        super().__init__(
            what="The program was started with its rig.",
            means="Nothing was changed.",
            do="Start hang-monitor run without --port to choose one on the page.",
        )


class PortModel(BaseModel):
    """A serial port of the service's machine."""

    path: str
    description: str
    serial_number: str


class SetupModel(BaseModel):
    """What may be chosen: ports, builds; ``described``: name of the rig that is described already."""

    ports: list[PortModel]
    builds: list[str]
    described: str | None


class SetupGiven(Given):
    """Which rig is to be read. ``build`` null keeps the rig that is described already."""

    way: Literal["port", "virtual", "none"]
    port: str = Field(default="", max_length=500)
    build: str | None = Field(default=None, max_length=40)
    mount_rating_N: float | None = Field(default=None, gt=0, le=1e6)


class SetupChosen(BaseModel):
    """The program restarts with this rig."""

    way: Literal["port", "virtual", "none"]


class Setup(Protocol):
    """The choosing of a rig."""

    @property
    def ways(self) -> Ways:
        """Return what the page may offer."""
        ...

    def ports(self) -> list[dict[str, Any]]:
        """Return the serial ports that the system knows."""
        ...

    def described(self) -> str | None:
        """Return the name of the rig that is described already, None where there is none."""
        ...

    def choose(self, way: str, port: str, build: str | None, mount_rating_N: float | None) -> None:
        """Store the choice and restart with it soon; returns at once."""
        ...


class FirstStepsModel(BaseModel):
    """Progress of the first steps up to the first hold; ``check_outcome`` is that of the newest check."""

    ways: Ways
    steps: dict[str, bool]
    check_outcome: str | None


def first_steps_of(
    rig: RigView, control: Control, procedures: ProcedureManager | None, coach: Coach | None, store: StoreReader
) -> dict[str, bool]:
    """Return which of the first steps are done."""
    return {
        "rig": bool(rig["channels"]),
        "board": control.health()["link"]["condition"] == "connected",
        "check": procedures is not None and newest_check(procedures.root) is not None,
        "calibration": procedures is not None and procedures.calibration is not None,
        "person": coach is not None and bool(coach.coaching.everybody()),
        "hold": store.count_holds() > 0,
    }


def setup_routes(
    setup: Setup | None,
    rig: RigView,
    control: Control,
    procedures: ProcedureManager | None,
    coach: Coach | None,
    store: StoreReader,
    audit: Callable[[str, str, str], None] | None = None,
) -> APIRouter:
    """Return the routes ``/first-steps`` and, where a rig can be chosen, ``/setup``."""
    router = APIRouter(tags=["first steps"])

    @router.get("/first-steps", response_model=FirstStepsModel)
    def steps() -> FirstStepsModel:
        """Return which of the first steps are done."""
        newest = None if procedures is None else newest_check(procedures.root)
        return FirstStepsModel(
            ways="fixed" if setup is None else setup.ways,
            steps=first_steps_of(rig, control, procedures, coach, store),
            check_outcome=None if newest is None else str(newest["outcome"]),
        )

    if setup is None:
        return router

    @router.get("/setup", response_model=SetupModel)
    def choices() -> SetupModel:
        """Return the available ports and builds."""
        keys = ("path", "description", "serial_number")
        ports = [PortModel(**{key: port[key] for key in keys}) for port in setup.ports()]
        return SetupModel(ports=ports, builds=list(BUILDS), described=setup.described())

    @router.post("/setup", response_model=SetupChosen, status_code=202)
    def choose(request: Request, given: SetupGiven) -> SetupChosen:
        """Choose the rig; the program restarts with it, which takes a moment."""
        setup.choose(given.way, given.port, given.build, given.mount_rating_N)
        if audit is not None:
            audit(who_asks(request), f"chose the rig: {given.way}", given.port)
        return SetupChosen(way=given.way)

    return router
