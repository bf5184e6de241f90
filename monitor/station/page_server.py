"""Serves the live page until somebody ends the program."""

from __future__ import annotations

import contextlib
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import uvicorn
from fastapi import FastAPI

from monitor.dashboard.live.connections import FeedProtocol, PatientProtocol
from monitor.dashboard.routes.power import ProgramEnd
from monitor.errors import MonitorError
from monitor.service import MonitorService
from monitor.station.rig_choice import RigChoice
from monitor.station.server_config import ServerConfig
from monitor.station.service_notifications import ServiceManager

LONGEST_GOODBYE_S = 2
LONGEST_TICK_S = 20.0
"""For so long the event loop may block before the service manager no longer hears that all is well."""

MOST_FEED_MESSAGE_BYTES = 1 << 16
MOST_AT_ONCE = 512


class PagePortInUse(MonitorError):
    """The live page's port is taken, or may not be used."""

    code = "page-port-in-use"


@contextlib.contextmanager
def listening(config: ServerConfig) -> Iterator[socket.socket]:
    """Yield a bound socket for the page; port 0 takes any free one.

    Raises
    ------
    PagePortInUse
    """
    host, port = config.host, config.port
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
        except OSError as error:
            raise PagePortInUse(
                what=f"The live page cannot use port {port} at {host}: {error.strerror}.",
                means="Nothing was started.",
                do="End the other program on this port (perhaps a second monitor), or choose another with --page-port.",
            ) from error
        yield listener


def uvicorn_config(app: FastAPI, config: ServerConfig) -> uvicorn.Config:
    """Return how the page is served: limits on what a client may send, and no trust in forwarded addresses."""
    return uvicorn.Config(
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
        # Forwarded addresses are believed only where a proxy of our own was announced.
        proxy_headers=config.behind_proxy,
        server_header=False,
        ssl_certfile=config.certificate,
        ssl_keyfile=config.key,
    )


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
    app: FastAPI,
    listener: socket.socket,
    config: ServerConfig,
    service: MonitorService,
    end: ProgramEnd,
    choice: RigChoice | None = None,
) -> None:
    """Run a service and its page until Ctrl-C, a stop signal, ``end`` or ``choice``; then finish the recording."""
    manager = ServiceManager.of_process()
    host, port = listener.getsockname()[:2]
    shown = f"[{host}]" if ":" in host else host
    address = f"http{'s' if config.certificate else ''}://{shown}:{port}/"

    def answering() -> None:
        manager.ready(f"Live page: {address}", lambda: service.alive and server.answers)

    server = _PageServer(uvicorn_config(app, config), address, answering)
    end.end = server.end_soon
    if choice is not None:
        choice.end = server.end_soon
    service.start()
    try:
        server.run(sockets=[listener])
    finally:
        renewed = choice is not None and choice.renewed
        if not renewed:
            manager.stopping()
        service.stop()
        listener.close()
        sys.stdout.write("Another rig was chosen.\n" if renewed else "Ended; everything that was measured is kept.\n")
        sys.stdout.flush()
