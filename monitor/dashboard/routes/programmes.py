"""REST: programmes, and what comes next."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body

from monitor.coaching.people.day_ledger import DayLedger
from monitor.coaching.people.programme import programme_from_dict, template, template_names, template_text
from monitor.coaching.prescribing.day_prescription import DayPrescription
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.views.coaching_models import PauseGiven, ProgrammeModel, ResumeGiven, TemplateModel
from monitor.dashboard.views.problems import NotThere
from monitor.dashboard.views.record_answers import NS_PER_MS


def programme_routes(coach: Coach) -> APIRouter:
    """Return the routes ``/programmes``, ``/people/{uid}/programme``, ``/prescription`` and ``/days``."""
    router = APIRouter(tags=["programme"])
    coaching = coach.coaching

    @router.get("/programmes", response_model=list[TemplateModel])
    def templates() -> list[TemplateModel]:
        """List the templates, each with its TOML."""
        return [_template(name) for name in template_names()]

    @router.get("/programmes/{name}", response_model=TemplateModel)
    def one(name: str) -> TemplateModel:
        """Return a template."""
        if name not in template_names():
            raise NotThere(f"template {name[:60]!r}")
        return _template(name)

    @router.get("/people/{uid}/programme", response_model=ProgrammeModel)
    def read(uid: str) -> ProgrammeModel:
        """Return the programme in force; ``since_utc_ms`` is null for the default one."""
        return _programme(coach, uid)

    @router.put("/people/{uid}/programme", response_model=ProgrammeModel)
    def change(uid: str, content: Annotated[dict[str, Any], Body()]) -> ProgrammeModel:
        """Put a programme in force from now on; earlier ones are kept. The format matches the TOML files."""
        coaching.set_programme(uid, programme_from_dict(content))
        return _programme(coach, uid)

    @router.get("/people/{uid}/programmes", response_model=list[ProgrammeModel])
    def earlier(uid: str) -> list[ProgrammeModel]:
        """List the programmes that were ever in force, newest first."""
        coaching.person(uid)
        stored = coaching.store.people.programmes(uid)
        return [ProgrammeModel(since_utc_ms=one.since_utc_ns // NS_PER_MS, content=one.content) for one in stored]

    @router.post("/people/{uid}/programme/pauses", response_model=ProgrammeModel, status_code=201)
    def pause(uid: str, given: PauseGiven) -> ProgrammeModel:
        """Pause the programme or one item of it. Days of a pause are not missed and break no streak."""
        coaching.pause(uid, first=given.first, last=given.last, item=given.item or "", reason=given.reason)
        return _programme(coach, uid)

    @router.post("/people/{uid}/programme/resume", response_model=ProgrammeModel)
    def resume(uid: str, given: ResumeGiven | None = None) -> ProgrammeModel:
        """End the pauses in force: general ones, or those of one item. Pauses from stop rules remain."""
        coaching.resume(uid, (given.item if given is not None else None) or "")
        return _programme(coach, uid)

    @router.get("/people/{uid}/prescription", response_model=DayPrescription)
    def prescription(uid: str) -> DayPrescription:
        """Return what comes next, with how much help, and why. Loads and help are shares of bodyweight."""
        return coaching.prescribe(uid)

    @router.get("/people/{uid}/days", response_model=DayLedger)
    def days(uid: str) -> DayLedger:
        """Return how the programme's days went."""
        return coaching.days(uid)

    return router


def _template(name: str) -> TemplateModel:
    programme = template(name)
    return TemplateModel(
        name=name,
        title=programme.name,
        about=programme.about,
        toml=template_text(name),
        content=programme.as_dict(),
    )


def _programme(coach: Coach, uid: str) -> ProgrammeModel:
    programme, since_ns = coach.coaching.programme(uid)
    since_ms = None if since_ns is None else since_ns // NS_PER_MS
    return ProgrammeModel(since_utc_ms=since_ms, content=programme.as_dict())
