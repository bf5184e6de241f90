"""Assembles the dashboard: static pages, REST, live feed, security middleware."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from monitor.dashboard.interfaces import Coach, Control, DashboardSettings, RigView, StoreReader
from monitor.dashboard.job_interface import Jobs
from monitor.dashboard.live.feed import feed_routes
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.routes.bar import bar_routes
from monitor.dashboard.routes.corrections import correction_routes
from monitor.dashboard.routes.entries import entry_routes
from monitor.dashboard.routes.holds import holds_routes
from monitor.dashboard.routes.jobs import job_routes
from monitor.dashboard.routes.live import known_version, live_routes
from monitor.dashboard.routes.maintenance import Maintenance, maintenance_routes
from monitor.dashboard.routes.markers import marker_routes
from monitor.dashboard.routes.operation import Instruments, operation_routes
from monitor.dashboard.routes.pages import STATIC, Offers, page_routes, screen_routes
from monitor.dashboard.routes.people import people_routes
from monitor.dashboard.routes.power import ProgramEnd, power_routes
from monitor.dashboard.routes.procedures import procedure_routes
from monitor.dashboard.routes.programmes import programme_routes
from monitor.dashboard.routes.progress import progress_routes
from monitor.dashboard.routes.settings import settings_routes
from monitor.dashboard.routes.setup import Setup, setup_routes
from monitor.dashboard.routes.sign_in import AuditReader, audit_routes, sign_in_routes
from monitor.dashboard.security.authorization import Announced, Authorization
from monitor.dashboard.security.security_middleware import SecurityMiddleware
from monitor.dashboard.views.models import PROBLEMS
from monitor.dashboard.views.problems import tell_problems
from monitor.dashboard.views.request_log import RequestCounts
from monitor.procedures.procedure_manager import ProcedureManager


def create_app(
    *,
    hub: LiveHub,
    store: StoreReader,
    rig: RigView,
    control: Control,
    coach: Coach | None = None,
    settings: DashboardSettings | None = None,
    authorization: Authorization | None = None,
    audit: AuditReader | None = None,
    jobs: Jobs | None = None,
    power: ProgramEnd | None = None,
    maintenance: Maintenance | None = None,
    procedures: ProcedureManager | None = None,
    instruments: Instruments | None = None,
    setup: Setup | None = None,
) -> FastAPI:
    """Return the application that serves the live page.

    Parameters
    ----------
    hub : LiveHub
        Where the pipeline publishes.
    store : StoreReader
        Where holds are read.
    rig : RigView
        What the rig is called and made of.
    control : Control
        What a screen may set, and how the rig is.
    coach : Coach, optional
        People, programmes, prescriptions, progress, corrections; without it these routes do not exist.
    settings : DashboardSettings, optional
        How it is served.
    authorization : Doorkeeper, optional
        Who may do what; without it everybody who can reach the page may do everything.
    audit : callable, optional
        Reads the audit log, for owners.
    jobs : Jobs, optional
        The job queue for long work; it needs the coach, too.
    power : ProgramEnd, optional
        The program's end, for owners.
    instruments : Instruments, optional
        The running program, for ``/healthz`` and ``/metrics``.
    maintenance : House, optional
        Where data is stored: disk space, backups, passcodes, versions.
    procedures : Bench, optional
        Zero, calibration and check of the rig.
    setup : Setup, optional
        The choosing of a rig, where the program was started without one.
    """
    how = settings or DashboardSettings()
    app = FastAPI(
        title="Hang monitor",
        description="What the rig measures, and stored holds. Loads in newtons, shares of bodyweight as fractions.",
        openapi_url="/api/openapi.json",
        docs_url=None,  # their pages load scripts from elsewhere; nothing here leaves the machine
        redoc_url=None,
        responses=PROBLEMS,
    )
    tell_problems(app)
    counts = RequestCounts()
    app.add_middleware(SecurityMiddleware, host_names=how.host_names, authorization=authorization, counts=counts)
    if authorization is not None:
        control = Announced(control, authorization)
    offers = Offers(
        jobs=jobs is not None,
        power=power is not None,
        maintenance=maintenance is not None,
        authorization=authorization is not None,
        procedures=procedures is not None,
    )
    routers = [
        live_routes(hub, rig, control),
        holds_routes(store),
        settings_routes(control),
        screen_routes(coach, offers),
        feed_routes(hub, control, how, coach),
    ]
    if coach is not None:
        routers += [
            people_routes(coach),
            bar_routes(coach),
            entry_routes(coach),
            programme_routes(coach),
            progress_routes(coach),
            correction_routes(coach, store, hub),
            marker_routes(coach),
        ]
    if coach is not None and jobs is not None:
        routers.append(job_routes(jobs, coach))
    if procedures is not None:
        routers.append(procedure_routes(procedures, store))
    audit_entry = None if authorization is None else authorization.audit
    routers.append(setup_routes(setup, rig, control, procedures, coach, store, audit_entry))
    if maintenance is not None:
        routers.append(maintenance_routes(maintenance, authorization))
    if authorization is not None:
        routers.append(sign_in_routes(authorization))
    if audit is not None:
        routers.append(audit_routes(audit))
    if power is not None:
        routers.append(power_routes(power, hub))
    # Pages first: the framework makes ready a group of routes when a request first comes to it, which takes a small
    # board most of a second for all of REST; so a browser has the page by then, and its files.
    app.include_router(page_routes(lambda: procedures is None if setup is not None else False))
    if instruments is not None:
        app.include_router(operation_routes(instruments, hub, control, counts, known_version))
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for routes in routers:
        app.include_router(routes, prefix="/api")
    return app
