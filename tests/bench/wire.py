"""From bytes on the pseudo-terminal to the message on the WebSocket, through every part between."""

from __future__ import annotations

import json
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import uvicorn
from websockets.sync.client import connect

from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo import DemoRig
from monitor.signals.spikes import LOOK_AHEAD
from monitor.station.page_server import listening
from monitor.station.server_config import ServerConfig
from monitor.station.sources import recorded_link
from monitor.station.station import assemble
from monitor.store import DataFolder

SECONDS = 30.0


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.answers = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.answers.set()


def report() -> Iterator[str]:
    """Yield the delay of each message behind the frame that completed it: p50 and p99."""
    invented = DemoRig(seed=1)
    given_ns: list[int] = []

    def conversions(n: int) -> tuple[np.ndarray, np.ndarray]:
        counts, _ = invented.conversions(n)
        given_ns.extend([time.monotonic_ns()] * len(counts))
        # Nothing is missed, so that rows can be counted.
        return counts, np.zeros(len(counts), dtype=bool)

    board = VirtualBoard(conversions, channels=len(invented.rig.channels), rate_Hz=invented.rig.nominal_rate_Hz)
    with (
        tempfile.TemporaryDirectory() as folder,
        board,
        listening(ServerConfig(port=0)) as listener,
        assemble(
            recorded_link(board.port, invented.rig, invented.calibration), DataFolder.open(Path(folder) / "data")
        ) as station,
    ):
        server = _Server(uvicorn.Config(station.app(), log_level="error", access_log=False, lifespan="off"))
        page = threading.Thread(target=lambda: server.run(sockets=[listener]), daemon=True)
        page.start()
        server.answers.wait(20)
        station.service.start()
        delays_ms = _listen(listener.getsockname()[1], given_ns)
        server.should_exit = True
        page.join()
    p50, p99 = np.percentile(delays_ms, [50, 99])
    yield f"{len(delays_ms)} messages: p50 {p50:.1f} ms, p99 {p99:.1f} ms behind the bytes (goal p99 30 ms)"


def _listen(port: int, given_ns: list[int]) -> list[float]:
    """Return the delays in ms; rows are counted by their times, which lie on the board's even grid."""
    delays: list[float] = []
    first_s: float | None = None
    begun = time.monotonic()
    with connect(f"ws://127.0.0.1:{port}/api/feed", origin=f"http://127.0.0.1:{port}", open_timeout=20) as feed:  # type: ignore[arg-type]
        while time.monotonic() < begun + SECONDS:
            message = json.loads(feed.recv(timeout=20))
            arrived_ns = time.monotonic_ns()
            curve = message.get("curve") if message.get("type") == "picture" else None
            if not curve or not curve["t_s"]:
                continue
            if first_s is None:
                # The tape holds everything since the first row, or is joined in its middle: both have whole rows.
                first_s = curve["t_s"][0]
                continue
            row = round((curve["t_s"][-1] - first_s) * 80.0) + LOOK_AHEAD
            if row < len(given_ns):
                delays.append((arrived_ns - given_ns[row]) * 1e-6)
    return delays
