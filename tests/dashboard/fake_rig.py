"""A rig, a store and a control that are made up: plausible pictures for the page, without a pipeline."""

from __future__ import annotations

import contextlib
import dataclasses
import socket
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import uvicorn
from fastapi import FastAPI
from numpy.typing import NDArray

from monitor.dashboard import (
    Coach,
    Control,
    DashboardSettings,
    GivenSettings,
    Health,
    LinkHealth,
    LiveHub,
    RigView,
    create_app,
)
from monitor.errors import BadInput
from monitor.measures.picture import HoldClock, Picture
from monitor.records.hold_result import HoldResult, Regrip, StateSpan, Swing, ThirdSupport, Touch, Travel
from monitor.records.stored_hold import StoredHold
from monitor.store import HoldFilter, HoldOrder

RATE_HZ = 80.0
BODYWEIGHT_N = 702.4
NAMES = ("bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr")
RIG: RigView = {
    "name": "invented rig",
    "channels": [{"name": name, "part": "bar" if name.startswith("bar") else "platform"} for name in NAMES],
    "has_platform": True,
    "bar_cells": 2,
    "nominal_rate_Hz": RATE_HZ,
    "invented": True,
}
STANDS_S, LEANS_S, HANGS_S, LETS_GO_S, LEAVES_S, AGAIN_S = 0.0, 4.0, 6.0, 24.4, 29.0, 33.0


def beta_at(t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of bodyweight on the bar along the made-up scene (which repeats every ``AGAIN_S`` seconds)."""
    t = np.mod(t_s, AGAIN_S)
    tired = 0.05 + 0.10 * np.clip((t - HANGS_S - 8) / 10, 0, 1)
    hang = 1 - tired
    knots = [0, LEANS_S, LEANS_S + 0.4, HANGS_S - 0.25, HANGS_S + 0.25, LETS_GO_S - 0.1, LETS_GO_S + 0.1, AGAIN_S]
    lean, up = np.interp(t, knots, [0, 0, 0.2, 0.2, 0.2, 0.2, 0, 0]), np.interp(t, knots, [0, 0, 0, 0, 1, 1, 0, 0])
    beta: NDArray[np.float64] = np.where(up > 0, lean + up * (hang - 0.2), lean)
    return beta


def loads_at(t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return loads (n, 6) in N in the order of ``NAMES``."""
    t = np.mod(t_s, AGAIN_S)
    beta = beta_at(t_s)
    there = np.where(t < LEAVES_S, 1.0, 0.0)
    sway = 0.05 * np.exp(-np.clip(t - HANGS_S, 0, None) / 6) * (beta > 0.5)
    bar = BODYWEIGHT_N * beta * (1 + sway * np.cos(2 * np.pi * 0.9 * t))
    feet = BODYWEIGHT_N * (1 - beta) * there * (1 + 0.03 * np.sin(2 * np.pi * 0.23 * t))
    share = 0.5 + 0.02 * np.sin(2 * np.pi * 0.31 * t)
    fore = 0.55 + 0.05 * np.sin(2 * np.pi * 0.4 * t)
    noise = np.sin(np.outer(t_s * 913.7, np.arange(1, 7))) * 0.8
    columns = [bar * share, bar * (1 - share)]
    columns += [feet * f * s for f in (fore, 1 - fore) for s in (0.52, 0.48)]
    loads: NDArray[np.float64] = np.column_stack(columns) + noise
    return loads


@dataclass
class FakeRig:
    """Gives the next picture of the made-up scene; time is counted, not taken from a clock."""

    t_s: float = 0.0
    step_s: float = 0.05
    rate_Hz: float = RATE_HZ
    _given: int = 0

    def next(self) -> Picture:
        """Move on by one step and return what the rig then shows."""
        self.t_s = round(self.t_s + self.step_s, 6)
        last = int(self.t_s * self.rate_Hz)
        t_s = np.arange(self._given, last) / self.rate_Hz
        self._given = last
        return dataclasses.replace(scene_at(self.t_s), curve_names=NAMES, curve_t_s=t_s, curve_N=loads_at(t_s))


def scene_at(t_s: float) -> Picture:
    """Return the picture of the made-up scene at a time, without curves."""
    t = t_s % AGAIN_S
    start = t_s - t
    beta = float(beta_at(np.array([t_s]))[0])
    there = t < LEAVES_S
    common: dict[str, Any] = {
        "t_s": t_s, "bodyweight_N": BODYWEIGHT_N, "bodyweight_u_N": 0.6, "bodyweight_source": "standing",
        "bar_N": BODYWEIGHT_N * beta, "feet_N": BODYWEIGHT_N * (1 - beta) * there, "beta": beta, "u_beta": 0.003,
        "alpha": 1 - beta if there else 0.0, "u_alpha": 0.003, "alpha_direct": True, "misclosure": 0.001,
        "rate_Hz": 80.02, "lost": 3, "spikes": 2,
    }  # fmt: skip
    if not there:
        nobody = {"bodyweight_N": None, "bodyweight_u_N": None, "bodyweight_source": None, "misclosure": None}
        no_share = {"beta": None, "u_beta": None, "alpha": None, "u_alpha": None}
        return Picture(**{**common, **nobody, **no_share}, scene="empty", scene_since_s=start + LEAVES_S)
    if t < LEANS_S:
        return Picture(**common, scene="standing", scene_since_s=start)
    if t < HANGS_S:
        return Picture(**common, scene="leaning", scene_since_s=start + LEANS_S)
    swing = 5.0 * float(np.exp(-(t - HANGS_S) / 6))
    hold = HoldClock(start + HANGS_S, min(t, LETS_GO_S) - HANGS_S, provisional=t < HANGS_S + 1, ended=t >= LETS_GO_S)
    if t >= LETS_GO_S:
        return Picture(**common, scene="let_go", scene_since_s=start + LETS_GO_S, hold=hold)
    return Picture(
        **common, scene="hanging", scene_since_s=start + HANGS_S, hold=hold, lateral_m=0.012, swing_deg=swing,
        u_swing_deg=0.1, still=swing < 1.0, travel_mm=0.0, shoulders="relaxed", shoulders_certainty=0.96,
    )  # fmt: skip


def made_up_holds(count: int = 7) -> list[StoredHold]:
    """Return holds of all sorts, newest first."""
    newest_ns = 1_764_000_000_000_000_000
    holds = []
    for i in range(count):
        alpha = [0.04, 0.0, 0.13, 0.22, None, 0.07, 0.31][i % 7]
        duration_s = [18.4, 32.56, 41.1, 24.8, 12.0, 63.7, 9.2][i % 7]
        swing = [0.6, 1.2, 3.4, 0.9, 6.0, None, 2.0][i % 7]
        result = HoldResult(
            onset_s=10.0, release_s=10.0 + duration_s, duration_s=duration_s, duration_u_s=0.01,
            kind=("passive", "active", "mixed", None)[i % 4], support="unassisted" if alpha == 0 else "assisted",
            beta_mean=None if alpha is None else 1 - alpha, beta_u=0.003, alpha_mean=alpha, alpha_u=0.003,
            alpha_direct=i % 3 != 2, dose_bw_s=None if alpha is None else duration_s * (1 - alpha),
            misclosure=0.001 if i != 3 else -0.08, misclosure_u=0.002,
            zero_bar_N=1.2 + 0.15 * i, zero_feet_N=None if i == 2 else -2.4 - 0.1 * i, clean_s=duration_s * 0.8,
            swing=None if swing is None else Swing(swing * 2, swing, 0.44),
            third_support=[ThirdSupport(12.0, 14.0, 0.08)] if i == 3 else [],
            flags=["bodyweight_unknown"] if alpha is None else [],
        )  # fmt: skip
        onset_ns = newest_ns - i * 212_000_000_000
        holds.append(StoredHold(f"hold-{i}", "session-1", count - i, onset_ns, BODYWEIGHT_N, 0.6, result, 1))
    return holds


def full_hold(uid: str = "full") -> StoredHold:
    """Return the hold of the made-up scene with every measure there is, later than all ``made_up_holds``."""
    result = HoldResult(
        onset_s=HANGS_S, release_s=LETS_GO_S, duration_s=LETS_GO_S - HANGS_S, duration_u_s=0.012, kind="mixed",
        support="assisted", beta_mean=0.9124, beta_u=0.0031, alpha_mean=0.0871, alpha_u=0.0029, alpha_p95=0.1482,
        alpha_direct=True, clean_s=11.3, misclosure=-0.0021, misclosure_u=0.0018, peak_N=702.1, dose_bw_s=16.8,
        lateral_m=-0.0123, lateral_u_m=0.0021, zero_bar_N=1.4, zero_feet_N=-2.6, settle_s=9.7, tremor_N=1.9,
        swing=Swing(4.8, 2.31, 0.442),
        states=[StateSpan(6.6, 13.0, "passive", 0.97), StateSpan(13.0, 18.4, "active", 0.92),
                StateSpan(18.4, 24.0, "passive", 0.61)],
        travel=[Travel(12.6, 13.4, 31.0, 2.4), Travel(18.0, 18.8, -28.5, 2.6)],
        regrips=[Regrip(20.9, 21.4)], third_support=[ThirdSupport(14.0, 16.4, 0.081)],
        touches=[Touch(9.0, 9.3, 0.062), Touch(11.0, 11.2, 0.034)], flags=["third_support"],
    )  # fmt: skip
    onset_ns = 1_764_000_000_000_000_000 + 600 * 10**9
    return StoredHold(uid, "session-1", 8, onset_ns, BODYWEIGHT_N, 0.6, result, 1, utc_offset_s=3600, target_s=18.0)


@dataclass
class FakeStore:
    """Holds in a list."""

    holds: list[StoredHold] = field(default_factory=made_up_holds)

    def list_holds(self, limit: int, offset: int) -> Sequence[StoredHold]:
        return self.holds[offset : offset + limit]

    def find_holds(
        self, wanted: HoldFilter, limit: int, offset: int, order: HoldOrder = "newest"
    ) -> tuple[Sequence[StoredHold], int]:
        """Filter by a few of the wishes, as far as these tests ask; the store's own tests try all of them."""
        outcome = [
            hold
            for hold in self.holds
            if wanted.kind in (None, hold.result.kind)
            and wanted.support in (None, hold.result.support)
            and hold.result.duration_s >= (wanted.least_s or 0)
            and hold.onset_utc_ns < (wanted.until_utc_ns or 2**63)
            and hold.onset_utc_ns >= (wanted.since_utc_ns or 0)
            and hold.hidden is None
        ]
        if order == "longest":
            outcome.sort(key=lambda hold: -hold.result.duration_s)
        if order == "oldest":
            outcome.sort(key=lambda hold: hold.onset_utc_ns)
        return outcome[offset : offset + limit], len(outcome)

    def count_holds(self) -> int:
        return len(self.holds)

    def get_hold(self, uid: str) -> StoredHold | None:
        return next((hold for hold in self.holds if hold.uid == uid), None)

    def hold_curve(self, uid: str) -> tuple[NDArray[np.float64], Sequence[str], NDArray[np.float64]] | None:
        if uid == "hold-1":
            return None
        t_s = np.arange(int(25 * RATE_HZ)) / RATE_HZ  # the hold and a little about it
        return t_s, NAMES, loads_at(t_s)

    def measured_correction(self, hold_uid: str, kind: str, content: dict[str, Any]) -> dict[str, Any]:
        return content


@dataclass
class FakeControl:
    """Keeps settings; refuses one bodyweight, as a service could."""

    given: GivenSettings = field(default_factory=GivenSettings)
    state: Health = field(default_factory=lambda: Health(link=LinkHealth(condition="connected", since_s=12.0)))

    def settings(self) -> GivenSettings:
        return self.given

    def change(self, settings: GivenSettings) -> GivenSettings:
        if settings.bodyweight_N is not None and settings.bodyweight_N < 100:
            raise BadInput(
                "A bodyweight below 100 N was given.", "Every share would be wrong.", "Give the bodyweight in newtons."
            )
        self.given = settings
        return settings

    def health(self) -> Health:
        return self.state


@dataclass
class Served:
    """A dashboard that runs in a thread of its own."""

    hub: LiveHub
    store: FakeStore
    control: FakeControl
    app: FastAPI
    port: int

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextlib.contextmanager
def served(
    hub: LiveHub | None = None,
    *,
    store: FakeStore | None = None,
    control: FakeControl | None = None,
    coach: Coach | None = None,
    rig: RigView = RIG,
    port: int = 0,
    settings: DashboardSettings | None = None,
    **more: Any,
) -> Iterator[Served]:
    """Serve a dashboard over a made-up rig on a free port (or on a given one) until the block ends.

    ``more``: what else ``create_app`` takes.
    """
    hub, store, control = hub or LiveHub(), store or FakeStore(), control or FakeControl()
    as_control: Control = control
    app = create_app(hub=hub, store=store, rig=rig, control=as_control, coach=coach, settings=settings, **more)
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="warning", ws_per_message_deflate=False, timeout_graceful_shutdown=2)
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline_s = time.monotonic() + 120
        while not server.started:
            if time.monotonic() > deadline_s or not thread.is_alive():
                raise RuntimeError("The dashboard's server did not start.")
            time.sleep(0.01)
        yield Served(hub, store, control, app, listener.getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(20)
        listener.close()


@contextlib.contextmanager
def playing(hub: LiveHub, rig: FakeRig | None = None, *, speed: float = 1.0) -> Iterator[threading.Event]:
    """Publish the made-up scene at its own pace from a thread; clear the event to stop the data, set it to go on."""
    rig = rig or FakeRig()
    running, ended = threading.Event(), threading.Event()
    running.set()

    def play() -> None:
        next_s = time.monotonic()
        while not ended.is_set():
            if running.is_set():
                hub.publish(rig.next())
            next_s += rig.step_s / speed
            ended.wait(max(0.0, next_s - time.monotonic()))

    thread = threading.Thread(target=play, daemon=True)
    thread.start()
    try:
        yield running
    finally:
        ended.set()
        thread.join(5)
