"""The live feed: one WebSocket, newest picture only, a beat when there is none."""

from __future__ import annotations

import asyncio
import json
import logging
import time
from typing import Any

from fastapi import APIRouter, WebSocket
from starlette.websockets import WebSocketDisconnect, WebSocketState

from monitor.dashboard.interfaces import Coach, Control, DashboardSettings
from monitor.dashboard.live.hub import LiveHub, Screen
from monitor.dashboard.views.json_views import finite, plain

log = logging.getLogger(__name__)

GOING_AWAY = 1001
"""WebSocket close code of RFC 6455 section 7.4.1."""


# Ruff adds up the branches of the functions inside; each alone has few.
def feed_routes(  # noqa: C901
    hub: LiveHub, control: Control, settings: DashboardSettings, coach: Coach | None = None
) -> APIRouter:
    """Return the route of the feed, ``/feed``.

    Messages to the screen, JSON text each:

    - ``{"type": "picture", "number", "skipped", "age_s", "picture", "curve"}``; ``curve`` holds the samples since the
      last picture that this screen got: ``{"lost", "restart", "names", "t_s", "load_N"}``, or null;
    - ``{"type": "beat", "age_s", "number", "health", "settings", "screens"}`` about once a second;
    - ``{"type": "bar", "bar"}`` with every beat and as soon as it changes, where there is coaching: who hangs, what is
      prescribed, the rest, who is stepping on (the same as ``/bar``);
    - ``{"type": "event", "kind", "uid", "hold"}`` when a hold was closed, revised or withdrawn;
    - ``{"type": "events_missed", "count"}`` when this screen was too slow for all events.

    What a screen sends is ignored.
    """
    router = APIRouter()

    @router.websocket("/feed")
    async def feed(socket: WebSocket) -> None:
        try:
            await _serve(socket)
        except asyncio.CancelledError:
            log.info("The program ended before a screen had said goodbye.")

    async def _serve(socket: WebSocket) -> None:
        await socket.accept()
        screen = hub.join()
        listening = asyncio.create_task(_until_gone(socket))
        talking = asyncio.create_task(_talk(socket, screen))
        try:
            await asyncio.wait((listening, talking), return_when=asyncio.FIRST_COMPLETED)
        finally:
            hub.leave(screen)
            for task in (listening, talking):
                task.cancel()
            for outcome in await asyncio.gather(listening, talking, return_exceptions=True):
                if isinstance(outcome, Exception) and not isinstance(outcome, (WebSocketDisconnect, TimeoutError)):
                    log.error("A feed ended badly.", exc_info=outcome)
        if socket.client_state is WebSocketState.CONNECTED:
            await _goodbye(socket)

    async def _talk(socket: WebSocket, screen: Screen) -> None:
        next_beat_s = 0.0
        last_view: dict[str, Any] | None = None
        while True:
            now_s = time.monotonic()
            due = now_s >= next_beat_s
            if due:
                next_beat_s = now_s + settings.beat_s
                await _send(socket, json.dumps(_beat(hub, control)))
            if coach is not None:
                view = coach.bar.view()
                if due or _apart_from_time(view) != last_view:
                    last_view = _apart_from_time(view)
                    await _send(socket, json.dumps({"type": "bar", "bar": plain(view)}))
            bundle = screen.take()
            if bundle.events_missed:
                await _send(socket, json.dumps({"type": "events_missed", "count": bundle.events_missed}))
            for event in bundle.events:
                await _send(socket, json.dumps({"type": "event", **plain(event)}))
            if bundle.picture is not None:
                await _send(socket, hub.message(bundle))
            await screen.wait(max(0.0, next_beat_s - time.monotonic()))

    async def _send(socket: WebSocket, text: str) -> None:
        # If a client stops reading, the system's buffers fill and sending blocks; this ends it.
        try:
            await asyncio.wait_for(socket.send_text(text), settings.send_timeout_s)
        except RuntimeError:
            # The server has closed the connection in the meantime, because of what the screen sent.
            raise WebSocketDisconnect(GOING_AWAY) from None

    async def _goodbye(socket: WebSocket) -> None:
        try:
            await asyncio.wait_for(socket.close(GOING_AWAY), settings.send_timeout_s)
        except (TimeoutError, RuntimeError, WebSocketDisconnect):
            log.info("A screen that did not read was dropped.")

    return router


def _beat(hub: LiveHub, control: Control) -> dict[str, Any]:
    number, age_s, _ = hub.newest()
    given = control.settings()
    return {
        "type": "beat",
        "number": number,
        "age_s": finite(age_s, 3),
        "health": plain(dict(control.health())),
        "settings": {"alpha_max": given.alpha_max, "bodyweight_N": given.bodyweight_N},
        "screens": hub.screens,
    }


def _apart_from_time(view: dict[str, Any]) -> dict[str, Any]:
    """Return the message without its ages: a change of age alone is not sent."""
    return {**view, "rest": view["rest"] and view["rest"]["rest_s"], "due_in_s": None}


async def _until_gone(socket: WebSocket) -> None:
    while (await socket.receive())["type"] != "websocket.disconnect":
        pass
