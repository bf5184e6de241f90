"""Newest picture for every screen: the pipeline publishes and never waits, slow screens skip pictures."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from monitor.dashboard.live.curve_buffer import CurveBuffer, CurvePiece
from monitor.dashboard.views.json_views import finite, picture_view
from monitor.measures.picture import Picture

EVENTS_PER_SCREEN = 64
"""Events queued for one screen; a screen that misses more reloads the list of holds."""


@dataclass(frozen=True, slots=True)
class Bundle:
    """What one screen gets at once.

    ``skipped`` counts the pictures that were published since this screen's last one and that it never sees;
    ``picture`` is None when none is newer than the screen's last one.
    """

    number: int
    age_s: float | None
    skipped: int
    picture: Picture | None
    curve: CurvePiece | None
    events: list[dict[str, Any]]
    events_missed: int


class LiveHub:
    """Joins the pipeline's thread and any number of screens.

    ``publish`` costs the same however many screens there are and whether they read or not, apart from one wake-up
    call for each screen that waits. A screen owns a buffer position and a short list of events, nothing else.

    Parameters
    ----------
    keep_s : float
        Length of the curve buffer in seconds of board time. A screen that comes back within it misses no sample.
    clock_s : callable
        Monotonic seconds, for the age of the picture.
    """

    def __init__(self, keep_s: float = 30.0, *, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._lock = threading.Lock()
        self._clock_s = clock_s
        self._picture: Picture | None = None
        self._published_s = 0.0
        self._number = 0
        self._curve_buffer = CurveBuffer(keep_s)
        self._screens: set[Screen] = set()
        self._text: tuple[int, str] = (0, "null")
        self._curve_text: tuple[tuple[int, int, int], str] = ((-1, -1, -1), "null")

    def publish(self, picture: Picture) -> None:
        """Make a picture the newest one; called from the pipeline's thread, never blocks on a screen."""
        with self._lock:
            self._number += 1
            self._picture = picture
            self._published_s = self._clock_s()
            self._curve_buffer.append(picture.curve_names, picture.curve_t_s, picture.curve_N)
            screens = list(self._screens)
        for screen in screens:
            screen.wake()

    def publish_event(self, event: dict[str, Any]) -> None:
        """Notify every screen of a hold that was closed, revised or withdrawn; see ``views.event_view``."""
        with self._lock:
            screens = list(self._screens)
            for screen in screens:
                screen.note(event)
        for screen in screens:
            screen.wake()

    def newest(self) -> tuple[int, float | None, Picture | None]:
        """Return number, age in seconds and the newest picture; (0, None, None) before the first."""
        with self._lock:
            age_s = None if self._picture is None else self._clock_s() - self._published_s
            return self._number, age_s, self._picture

    @property
    def screens(self) -> int:
        """How many screens are connected."""
        with self._lock:
            return len(self._screens)

    def join(self) -> Screen:
        """Connect a screen; call in the event loop that will wait on it, and ``leave`` at the end."""
        screen = Screen(self, asyncio.get_running_loop())
        with self._lock:
            self._screens.add(screen)
        return screen

    def leave(self, screen: Screen) -> None:
        """Forget a screen; leaving twice is harmless."""
        with self._lock:
            self._screens.discard(screen)

    def collect(self, screen: Screen) -> Bundle:
        """Return what is new for a screen and move its place on. Used by ``Screen.take``."""
        with self._lock:
            number, picture = self._number, self._picture
            age_s = None if picture is None else self._clock_s() - self._published_s
            fresh = picture is not None and number > screen.last_number
            skipped = max(0, number - screen.last_number - 1) if screen.last_number else 0
            curve = self._curve_buffer.since(screen.place) if fresh else None
            if fresh:
                screen.last_number, screen.place = number, self._curve_buffer.end
            events, missed = screen.take_events()
            return Bundle(number, age_s, skipped, picture if fresh else None, curve, events, missed)

    def message(self, bundle: Bundle) -> str:
        """Return a bundle as the feed's JSON text; screens that keep up share the work of encoding."""
        return (
            f'{{"type":"picture","number":{bundle.number},"skipped":{bundle.skipped},'
            f'"age_s":{json.dumps(finite(bundle.age_s, 3))},"picture":{self._picture_text(bundle)},'
            f'"curve":{self._piece_text(bundle.curve)}}}'
        )

    def _picture_text(self, bundle: Bundle) -> str:
        number, text = self._text
        if number != bundle.number:
            view = None if bundle.picture is None else picture_view(bundle.picture)
            text = json.dumps(view, allow_nan=False, separators=(",", ":"))
            self._text = (bundle.number, text)
        return text

    def _piece_text(self, piece: CurvePiece | None) -> str:
        if piece is None:
            return "null"
        key = (piece.roll, piece.first, piece.end)
        known, text = self._curve_text
        if known != key:
            text = json.dumps(piece.view(), allow_nan=False, separators=(",", ":"))
            self._curve_text = (key, text)
        return text


class Screen:
    """One screen's place in the hub; its methods are for the event loop that made it, save ``wake`` and ``note``."""

    def __init__(self, hub: LiveHub, loop: asyncio.AbstractEventLoop) -> None:
        self._hub = hub
        self._loop = loop
        self._awake = asyncio.Event()
        self._called = False
        self._events: deque[dict[str, Any]] = deque(maxlen=EVENTS_PER_SCREEN)
        self._missed = 0
        self.last_number = 0
        self.place: tuple[int, int] | None = None

    async def wait(self, timeout_s: float) -> bool:
        """Wait until something is new; False when nothing came in time."""
        try:
            await asyncio.wait_for(self._awake.wait(), timeout_s)
        except TimeoutError:
            return False
        return True

    def take(self) -> Bundle:
        """Return everything that is new for this screen; pictures in between are skipped and counted."""
        self._awake.clear()
        self._called = False
        return self._hub.collect(self)

    def note(self, event: dict[str, Any]) -> None:
        """Queue an event; a full queue drops and counts its oldest. Call with the hub's lock held."""
        self._missed += len(self._events) == EVENTS_PER_SCREEN
        self._events.append(event)

    def take_events(self) -> tuple[list[dict[str, Any]], int]:
        """Return the queued events and how many were dropped before them. Call with the hub's lock held."""
        events, missed = list(self._events), self._missed
        self._events.clear()
        self._missed = 0
        return events, missed

    def wake(self) -> None:
        """Wake the screen's event loop once; any thread may call."""
        if self._called:
            return
        self._called = True
        try:
            self._loop.call_soon_threadsafe(self._awake.set)
        except RuntimeError:  # its event loop is closed: nobody is left to read
            self._hub.leave(self)
