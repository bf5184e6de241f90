"""For whoever operates the machine: ``/healthz`` and ``/metrics``."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from firmware_bridge.sources import Counters
from monitor.dashboard.interfaces import Control
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.views.request_log import RequestCounts


class Instruments(Protocol):
    """The running program, as seen by monitoring."""

    @property
    def stuck(self) -> str:
        """Return what has stalled, in words; empty while everything works."""
        ...

    @property
    def counters(self) -> Counters:
        """Return the counters of the board's data since the start."""
        ...

    @property
    def folder(self) -> Path:
        """Return where the data lie."""
        ...

    def count_holds(self) -> int:
        """Return the number of stored holds."""
        ...


def operation_routes(
    instruments: Instruments, hub: LiveHub, control: Control, counts: RequestCounts, version: Callable[[], str]
) -> APIRouter:
    """Return the routes ``/healthz`` and ``/metrics``."""
    router = APIRouter(include_in_schema=False)
    registry: list[Any] = []

    @router.get("/healthz")
    async def healthz() -> JSONResponse:
        """Return whether the program works; 503 when it has stalled. An absent board does not count as a failure."""
        # On the event loop itself: an answer shows that it runs.
        stuck = instruments.stuck
        return JSONResponse({"ok": not stuck, "stuck": stuck}, status_code=503 if stuck else 200)

    @router.get("/metrics")
    def metrics() -> Response:
        """Return the counts in the OpenMetrics text format."""
        from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest

        if not registry:
            registry.append(_registry(instruments, hub, control, counts, version))
        return Response(
            generate_latest(registry[0]),  # type: ignore[no-untyped-call]
            headers={"Content-Type": CONTENT_TYPE_LATEST},
        )

    return router


def _registry(
    instruments: Instruments, hub: LiveHub, control: Control, counts: RequestCounts, version: Callable[[], str]
) -> Any:
    # Loaded when somebody asks: a small board that nobody measures does not pay for it.
    from prometheus_client import CollectorRegistry, ProcessCollector
    from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily
    from prometheus_client.registry import Collector

    class Program(Collector):
        def collect(self) -> Iterator[Any]:
            totals = instruments.counters
            yield InfoMetricFamily("hang_monitor", "The program.", value={"version": version()})
            for name, text, value in (
                ("readings", "Readings of all channels that arrived.", totals.samples),
                ("readings_lost", "Readings that are known to be missing.", totals.lost),
                ("readings_wild", "Frames in which a channel was at its limit.", totals.spikes),
                ("frames", "Whole frames that arrived.", totals.frames),
                ("frames_damaged", "Pieces that were no whole frame.", totals.damaged),
                ("frames_repeated", "Frames that came twice.", totals.repeated),
                ("frames_unknown", "Frames of a kind that this version does not know.", totals.unknown),
            ):
                yield CounterMetricFamily(f"hang_monitor_{name}", text, value=value)
            answers = CounterMetricFamily("hang_monitor_answers", "Answers of the page.", labels=("method", "status"))
            for (method, status), count in sorted(counts.all().items()):
                answers.add_metric((method, str(status)), count)
            yield answers
            number, age_s, _ = hub.newest()
            health = control.health()
            yield CounterMetricFamily("hang_monitor_pictures", "Pictures that were published.", value=number)
            for name, text, level in (
                ("picture_age_seconds", "Age of the newest picture.", float("nan") if age_s is None else age_s),
                ("screens", "Screens that are connected.", hub.screens),
                ("link_connected", "1 while readings arrive.", health["link"]["condition"] == "connected"),
                ("warnings", "Warnings on the screens.", len(health.get("warnings", []))),
                ("stuck", "1 while the program stands still.", bool(instruments.stuck)),
                ("holds", "Stored holds.", instruments.count_holds()),
                ("disk_free_bytes", "Room where the data folder lies.", shutil.disk_usage(instruments.folder).free),
            ):
                yield GaugeMetricFamily(f"hang_monitor_{name}", text, value=float(level))

    registry = CollectorRegistry()
    registry.register(Program())
    ProcessCollector(registry=registry)
    return registry
