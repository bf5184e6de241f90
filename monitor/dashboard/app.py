"""Puts the dashboard together: static page, REST, feed, guard."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from monitor.dashboard.bar_api import bar_routes
from monitor.dashboard.corrections_api import correction_routes
from monitor.dashboard.doorkeeper import Announced, Doorkeeper
from monitor.dashboard.doors import Coach, Control, DashboardSettings, RigCard, StoreReader
from monitor.dashboard.entries_api import entry_routes
from monitor.dashboard.feed import feed_routes
from monitor.dashboard.guard import Guard
from monitor.dashboard.holds_api import holds_routes
from monitor.dashboard.house_api import House, house_routes
from monitor.dashboard.hub import LiveHub
from monitor.dashboard.jobs import Jobs
from monitor.dashboard.jobs_api import job_routes
from monitor.dashboard.live_api import known_version, live_routes
from monitor.dashboard.markers_api import marker_routes
from monitor.dashboard.operation_api import Instruments, operation_routes
from monitor.dashboard.pages import STATIC, Offers, page_routes, screen_routes
from monitor.dashboard.people_api import people_routes
from monitor.dashboard.power_api import Power, power_routes
from monitor.dashboard.problems import tell_problems
from monitor.dashboard.programme_api import programme_routes
from monitor.dashboard.progress_api import progress_routes
from monitor.dashboard.request_log import RequestCounts
from monitor.dashboard.settings_api import settings_routes
from monitor.dashboard.setup_api import Setup, setup_routes
from monitor.dashboard.shapes import PROBLEMS
from monitor.dashboard.sign_in_api import AuditReader, audit_routes, sign_in_routes
from monitor.dashboard.walk_api import walk_routes
from monitor.health.bench import Bench


def create_app(
    *,
    hub: LiveHub,
    store: StoreReader,
    rig: RigCard,
    control: Control,
    coach: Coach | None = None,
    settings: DashboardSettings | None = None,
    door: Doorkeeper | None = None,
    audit: AuditReader | None = None,
    jobs: Jobs | None = None,
    power: Power | None = None,
    house: House | None = None,
    bench: Bench | None = None,
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
    rig : RigCard
        What the rig is called and made of.
    control : Control
        What a screen may set, and how the rig is.
    coach : Coach, optional
        People, programmes, prescriptions, progress, corrections; without it there are no such addresses.
    settings : DashboardSettings, optional
        How it is served.
    door : Doorkeeper, optional
        Who may do what; without it whoever reaches the page may do everything.
    audit : callable, optional
        Reads the audit log, for owners.
    jobs : Jobs, optional
        The workshop for long work; it needs the coach, too.
    power : Power, optional
        The program's end, for owners.
    instruments : Instruments, optional
        The running program, for ``/healthz`` and ``/metrics``.
    house : House, optional
        Where everything is kept: room, backups, passcodes, versions.
    bench : Bench, optional
        Zero, calibration and check of the rig.
    setup : Setup, optional
        The choosing of a rig, where the program was started without one.
    """
    how = settings or DashboardSettings()
    app = FastAPI(
        title="Hang monitor",
        description="What the rig sees now, and the holds that it kept. Loads in newtons, shares of bodyweight as 1.",
        openapi_url="/api/openapi.json",
        docs_url=None,  # their pages load scripts from elsewhere; nothing here leaves the machine
        redoc_url=None,
        responses=PROBLEMS,
    )
    tell_problems(app)
    counts = RequestCounts()
    app.add_middleware(Guard, host_names=how.host_names, doorkeeper=door, counts=counts)
    if door is not None:
        control = Announced(control, door)
    offers = Offers(
        jobs=jobs is not None,
        power=power is not None,
        house=house is not None,
        door=door is not None,
        bench=bench is not None,
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
            correction_routes(coach, store, rig, hub),
            marker_routes(coach),
        ]
    if coach is not None and jobs is not None:
        routers.append(job_routes(jobs, coach))
    if bench is not None:
        routers.append(walk_routes(bench, store))
    told = None if door is None else door.audit
    routers.append(setup_routes(setup, rig, control, bench, coach, store, told))
    if house is not None:
        routers.append(house_routes(house, door))
    if door is not None:
        routers.append(sign_in_routes(door))
    if audit is not None:
        routers.append(audit_routes(audit))
    if power is not None:
        routers.append(power_routes(power, hub))
    # Pages first: the framework makes ready a group of routes when a request first comes to it, which takes a small
    # board most of a second for all of REST; so a browser has the page by then, and its files.
    app.include_router(page_routes(lambda: bench is None if setup is not None else False))
    if instruments is not None:
        app.include_router(operation_routes(instruments, hub, control, counts, known_version))
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for routes in routers:
        app.include_router(routes, prefix="/api")
    return app
