"""Twenty live screens, five coaches at work, one client that never reads, while 8 channels arrive 1000 times a second.

The clients are a process of their own, as they are in a hall; both read the machine's monotonic clock.
"""

from __future__ import annotations

import asyncio
import dataclasses
import json
import multiprocessing
import os
import socket
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import psutil
from websockets.asyncio.client import connect

from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo import DemoRig
from monitor.newtons.calibration import Calibration
from monitor.records.person import Person
from monitor.rig import Rig
from monitor.signals.spikes import LOOK_AHEAD
from monitor.station.page_server import listening, uvicorn_config
from monitor.station.server_config import ServerConfig
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import DataFolder
from tests.bench.wire import _Server

RATE_HZ, SCREENS, COACHES, SECONDS = 1000.0, 20, 5, 40.0
WARM_UP_S = 5.0


def eight_channels(invented: DemoRig) -> tuple[Rig, Calibration]:
    """Return the demo's rig with each bar cell twice at half the weight: four bar cells, four under the platform."""
    rig, calibration = invented.rig, invented.calibration
    names = ("bar_left", "bar_right")
    twins = [dataclasses.replace(c, name=f"{c.name}_2") for c in rig.channels if c.name in names]
    halves = [
        dataclasses.replace(c, N_per_count=c.N_per_count / 2) if c.channel in names else c for c in calibration.channels
    ]
    more = [dataclasses.replace(c, channel=f"{c.channel}_2") for c in halves if c.channel in names]
    wide = dataclasses.replace(rig, channels=(*rig.channels, *twins))
    return wide, Calibration((*halves, *more), "eight channels")


def report() -> Iterator[str]:
    """Yield losses and delays."""
    invented = DemoRig(1, RATE_HZ)
    rig, calibration = eight_channels(invented)
    given_ns: list[int] = []

    def conversions(n: int) -> tuple[np.ndarray, np.ndarray]:
        counts, _ = invented.conversions(n)
        given_ns.extend([time.monotonic_ns()] * len(counts))
        return np.column_stack([counts, counts[:, :2]]), np.zeros(len(counts), dtype=bool)

    board = VirtualBoard(conversions, channels=8, rate_Hz=RATE_HZ, samples_per_frame=8)
    with (
        tempfile.TemporaryDirectory() as folder,
        board,
        listening(ServerConfig(port=0)) as listener,
        assemble(recorded_link(board.port, rig, calibration), DataFolder.open(Path(folder) / "data")) as station,
    ):
        for number in range(6):
            station.store.people.save(Person("", f"Person {number}", time_zone="UTC"))
        server = _Server(uvicorn_config(station.app(), ServerConfig()))
        page = threading.Thread(target=lambda: server.run(sockets=[listener]), daemon=True)
        page.start()
        server.answers.wait(30)
        station.service.start()
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        clients = context.Process(target=_clients, args=(listener.getsockname()[1], theirs))
        used_before = sum(psutil.Process().cpu_times()[:2])
        clients.start()
        observed = ours.recv()
        clients.join()
        used_s = sum(psutil.Process().cpu_times()[:2]) - used_before
        station.service.stop()
        sent, counters = board.sent_samples, station.service.counters
        server.should_exit = True
        page.join()
    delays_ms: list[float] = []
    for first_s, rows in observed["screens"]:
        for last_s, arrived_ns in rows:
            row = round((last_s - first_s) * RATE_HZ) + LOOK_AHEAD
            if row < len(given_ns) and arrived_ns > observed["begun_ns"] + WARM_UP_S * 1e9:
                delays_ms.append((arrived_ns - given_ns[row]) * 1e-6)
    p50, p99, worst = np.percentile(delays_ms, [50, 99, 100])
    yield (
        f"{counters.samples} readings of 8 channels received of {sent} sent, {counters.lost} lost, {counters.damaged} "
        f"frames damaged (goal: none lost; what is still on the wire at the end was not lost)"
    )
    yield (
        f"{len(delays_ms)} messages to {len(observed['screens'])} screens: p50 {p50:.0f} ms, p99 {p99:.0f} ms, worst "
        f"{worst:.0f} ms behind the bytes (goal: p99 under 100 ms)"
    )
    requested, failed, slowest_s = observed["asked"], observed["failed"], observed["slowest_s"]
    yield f"{requested} requests of {COACHES} coaches, {failed} failed; the slowest took {slowest_s:.2f} s"
    yield (
        f"the program took {100 * used_s / SECONDS:.0f} % of one processor; machine's load {os.getloadavg()[0]:.1f}; a "
        "client that never read was connected throughout"
    )


def _clients(port: int, pipe: Any) -> None:
    pipe.send(asyncio.run(_all_clients(port)))


async def _all_clients(port: int) -> dict[str, Any]:
    begun_ns = time.monotonic_ns()
    ends_s = time.monotonic() + SECONDS
    deaf = socket.create_connection(("127.0.0.1", port))
    deaf.sendall(
        f"GET /api/feed HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
    )
    screens = [asyncio.create_task(_screen(port, ends_s)) for _ in range(SCREENS)]
    coaches = [asyncio.create_task(asyncio.to_thread(_coach, port, ends_s, n)) for n in range(COACHES)]
    observed = await asyncio.gather(*screens)
    messages = await asyncio.gather(*coaches)
    deaf.close()
    return {
        "begun_ns": begun_ns,
        "screens": [one for one in observed if one is not None],
        "asked": sum(one[0] for one in messages),
        "failed": sum(one[1] for one in messages),
        "slowest_s": max(one[2] for one in messages),
    }


async def _screen(port: int, ends_s: float) -> tuple[float, list[tuple[float, int]]] | None:
    first_s, rows = None, []
    async with connect(f"ws://127.0.0.1:{port}/api/feed", origin=f"http://127.0.0.1:{port}") as feed:  # type: ignore[arg-type]
        while time.monotonic() < ends_s:
            text = await asyncio.wait_for(feed.recv(), 30)
            arrived_ns = time.monotonic_ns()
            message = json.loads(text)
            curve = message.get("curve") if message.get("type") == "picture" else None
            if curve and curve["t_s"]:
                if first_s is None:
                    first_s = curve["t_s"][0]
                else:
                    rows.append((curve["t_s"][-1], arrived_ns))
    return None if first_s is None else (first_s, rows)


def _coach(port: int, ends_s: float, number: int) -> tuple[int, int, float]:
    """Look at lists, people and the prescription, and change a setting, about three times a second."""
    requested = failed = 0
    slowest_s, pause = 0.0, threading.Event()
    places = ["/api/holds", "/api/people", "/api/settings", "/api/rig", "/api/holds.csv", "/api/health", "/holds"]
    while time.monotonic() < ends_s:
        place, begun_s = places[requested % len(places)], time.monotonic()
        request = urllib.request.Request(f"http://127.0.0.1:{port}{place}")
        if requested % 10 == 9:
            body = json.dumps({"alpha_max": 0.1 + 0.01 * number, "bodyweight_N": None}).encode()
            request = urllib.request.Request(
                f"http://127.0.0.1:{port}/api/settings", body, {"content-type": "application/json"}, method="PUT"
            )
        requested += 1
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                answer.read()
        except OSError:
            failed += 1
        slowest_s = max(slowest_s, time.monotonic() - begun_s)
        pause.wait(0.3)
    return requested, failed, slowest_s
