"""Serves the live page until the person ends the program; used by ``demo`` and ``run``."""

from __future__ import annotations

import contextlib
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterator
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import uvicorn

from monitor.cli.server_config import LOOPBACK, ServerConfig
from monitor.cli.service_notifications import ServiceManager
from monitor.dashboard.app import create_app
from monitor.dashboard.live.connections import FeedProtocol, PatientProtocol
from monitor.dashboard.routes.power import ProgramEnd
from monitor.errors import MonitorError
from monitor.jobs.job_runner import JobRunner
from monitor.service import MonitorService, rig_view

if TYPE_CHECKING:
    from monitor.cli.rig_choice import RigChoice
    from monitor.dashboard.job_interface import Jobs
    from monitor.dashboard.live.hub import LiveHub
    from monitor.dashboard.routes.maintenance import Maintenance
    from monitor.dashboard.routes.sign_in import AuditReader
    from monitor.dashboard.security.authorization import Authorization
    from monitor.rig import Rig
    from monitor.store import DataFolder, Store

LONGEST_GOODBYE_S = 2
LONGEST_TICK_S = 20.0
"""Time for which the event loop may stand still before the service manager is told no more that all is well."""

MOST_FEED_MESSAGE_BYTES = 1 << 16
MOST_AT_ONCE = 512


class PagePortInUse(MonitorError):
    """The live page's port is taken, or may not be used."""

    code = "page-port-in-use"


def bound(port: int, host: str = LOOPBACK) -> socket.socket:
    """Return a listening-ready socket on an address, the loopback address by default; port 0 takes any free one.

    Raises
    ------
    PagePortInUse
    """
    place = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind((host, port))
    except OSError as error:
        place.close()
        raise PagePortInUse(
            what=f"The live page cannot use port {port} at {host}: {error.strerror}.",
            means="Nothing was started.",
            do="End the other program on this port (perhaps a second monitor), or choose another with --page-port.",
        ) from error
    return place


def job_runner(folder: DataFolder, service: MonitorService, store: Store) -> JobRunner:
    """Return the place for long work beside a service."""
    return JobRunner(folder, version=version("hang-monitor"), let_go=service.let_go, audit=store.audit.add)


class _PageServer(uvicorn.Server):
    """Says where the page is once it answers, and ends on Ctrl-C or a stop signal without killing the process."""

    def __init__(self, config: uvicorn.Config, address: str, answering: Callable[[], None]) -> None:
        super().__init__(config)
        self._address, self._answering = address, answering
        self._ticked_s = time.monotonic()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        sys.stdout.write(f"Live page: {self._address}\nEnd with Ctrl-C.\n")
        sys.stdout.flush()
        self._answering()

    async def on_tick(self, counter: int) -> bool:
        """Note that the event loop runs; called ten times a second."""
        self._ticked_s = time.monotonic()
        return await super().on_tick(counter)

    @property
    def answers(self) -> bool:
        """Say whether the event loop runs, so that pages can be answered."""
        return time.monotonic() - self._ticked_s < LONGEST_TICK_S

    def end_soon(self) -> None:
        """End as a stop signal does; any thread may call."""
        self.should_exit = True

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        # The server's own way raises the signal again after its end, which would skip our own goodbye.
        old: dict[int, Any] = {s: signal.signal(s, self.handle_exit) for s in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for number, handler in old.items():
                signal.signal(number, handler)


def serve_page(
    service: MonitorService,
    hub: LiveHub,
    rig: Rig | None,
    place: socket.socket,
    *,
    server_config: ServerConfig | None = None,
    authorization: Authorization | None = None,
    audit: AuditReader | None = None,
    jobs: Jobs | None = None,
    maintenance: Maintenance | None = None,
    end: ProgramEnd | None = None,
    setup: RigChoice | None = None,
) -> None:
    """Run the service and its page until Ctrl-C, a stop signal or ``end``; then finish what is being recorded."""
    way, end = server_config or ServerConfig(), end or ProgramEnd()
    app = create_app(
        hub=hub,
        store=service,
        rig=rig_view(rig),
        control=service,
        coach=service,
        authorization=authorization,
        audit=audit,
        jobs=jobs,
        power=end,
        instruments=service,
        maintenance=maintenance,
        procedures=service.procedures,
        setup=setup,
    )
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        ws=FeedProtocol,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=LONGEST_GOODBYE_S,
        lifespan="off",
        ws_per_message_deflate=False,
        ws_max_size=MOST_FEED_MESSAGE_BYTES,
        limit_concurrency=MOST_AT_ONCE,
        # Addresses told by others are believed only where a proxy of our own was announced.
        proxy_headers=way.behind_proxy,
        server_header=False,
        ssl_certfile=way.certificate,
        ssl_keyfile=way.key,
    )
    manager = ServiceManager.of_process()
    host, port = place.getsockname()[:2]
    shown = f"[{host}]" if ":" in host else host
    address = f"http{'s' if way.certificate else ''}://{shown}:{port}/"

    def beats() -> None:
        manager.ready(f"Live page: {address}", lambda: service.alive and server.answers)

    server = _PageServer(config, address, beats)
    end.end = server.end_soon
    if setup is not None:
        setup.end = server.end_soon
    service.start()
    try:
        server.run(sockets=[place])
    finally:
        again = setup is not None and setup.renewed
        if not again:
            manager.stopping()
        service.stop()
        place.close()
        sys.stdout.write("Another rig was chosen.\n" if again else "Ended; everything that was measured is kept.\n")
        sys.stdout.flush()
