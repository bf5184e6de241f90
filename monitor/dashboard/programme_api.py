"""REST: programmes, and what comes next."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body

from monitor.coaching.day import DayLedger
from monitor.coaching.prescription_day import DayPrescription
from monitor.coaching.programme import programme_from_dict, template, template_names, template_text
from monitor.dashboard.coaching_shapes import NS_PER_MS, ProgrammeShape, TemplateShape
from monitor.dashboard.doors import Coach
from monitor.dashboard.problems import NotThere


def programme_routes(coach: Coach) -> APIRouter:
    """Return the routes ``/programmes``, ``/people/{uid}/programme``, ``/prescription`` and ``/days``."""
    router = APIRouter(tags=["programme"])
    desk = coach.desk

    @router.get("/programmes", response_model=list[TemplateShape])
    def templates() -> list[TemplateShape]:
        """List the templates, each with its TOML."""
        return [_template(name) for name in template_names()]

    @router.get("/programmes/{name}", response_model=TemplateShape)
    def one(name: str) -> TemplateShape:
        """Return a template."""
        if name not in template_names():
            raise NotThere(f"template {name[:60]!r}")
        return _template(name)

    @router.get("/people/{uid}/programme", response_model=ProgrammeShape)
    def read(uid: str) -> ProgrammeShape:
        """Return the programme in force; ``since_utc_ms`` is null for the default one."""
        return _programme(coach, uid)

    @router.put("/people/{uid}/programme", response_model=ProgrammeShape)
    def change(uid: str, content: Annotated[dict[str, Any], Body()]) -> ProgrammeShape:
        """Put a programme in force from now on; earlier ones are kept. The form is that of the TOML files."""
        desk.set_programme(uid, programme_from_dict(content))
        return _programme(coach, uid)

    @router.get("/people/{uid}/prescription", response_model=DayPrescription)
    def prescription(uid: str) -> DayPrescription:
        """Tell what comes next, with how much help, and why. Loads and help are shares of bodyweight."""
        return desk.prescribe(uid)

    @router.get("/people/{uid}/days", response_model=DayLedger)
    def days(uid: str) -> DayLedger:
        """Tell how the programme's days went."""
        return desk.days(uid)

    return router


def _template(name: str) -> TemplateShape:
    programme = template(name)
    return TemplateShape(name=name, title=programme.name, about=programme.about, toml=template_text(name))


def _programme(coach: Coach, uid: str) -> ProgrammeShape:
    programme, since_ns = coach.desk.programme(uid)
    since_ms = None if since_ns is None else since_ns // NS_PER_MS
    return ProgrammeShape(since_utc_ms=since_ms, content=programme.as_dict())
