"""Pairing of a new screen: a short code appears on the wall screen and in the terminal, and is typed on the new one."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

CODE_DIGITS = 6
LASTS_S = 180.0
TRIES = 5
MOST_AT_ONCE = 3
MOST_REQUESTS, REQUESTS_WITHIN_S = 6, 600.0
"""Pending requests of all screens together, so that nobody on the network can fill the wall screen."""


@dataclass(slots=True)
class _Request:
    code: str
    address: str
    until_s: float
    tries_left: int = TRIES


class Pairing:
    """Requests that wait for their code. A code admits only the device that requested it.

    Parameters
    ----------
    clock_s : callable
        Monotonic seconds.
    tell : callable
        Gets one line for the terminal when a code is made.
    """

    def __init__(
        self, clock_s: Callable[[], float] = time.monotonic, tell: Callable[[str], None] = lambda line: None
    ) -> None:
        self._clock_s, self._tell = clock_s, tell
        self._lock = threading.Lock()
        self._requests: dict[str, _Request] = {}
        self._request_times_s: list[float] = []

    def ask(self, address: str) -> str | None:
        """Make a code for a device; return the request's secret, which the device keeps. None: too many are pending."""
        now_s = self._clock_s()
        with self._lock:
            self._forget(now_s)
            self._request_times_s = [at_s for at_s in self._request_times_s if now_s - at_s < REQUESTS_WITHIN_S]
            # One device has one request: asking again replaces the code on the wall.
            for key in [k for k, r in self._requests.items() if r.address == address]:
                del self._requests[key]
            if len(self._request_times_s) >= MOST_REQUESTS or len(self._requests) >= MOST_AT_ONCE:
                return None
            self._request_times_s.append(now_s)
            request = secrets.token_urlsafe(32)
            one = _Request(f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}", address, now_s + LASTS_S)
            self._requests[request] = one
        self._tell(_line(one))
        return request

    def redeem(self, request: str, code: str) -> bool:
        """Return whether the code belongs to the request; a code works once and expires after five wrong tries."""
        with self._lock:
            self._forget(self._clock_s())
            one = self._requests.get(request)
            if one is None:
                return False
            one.tries_left -= 1
            fits = secrets.compare_digest(one.code.encode(), "".join(code.split()).encode())
            if fits or one.tries_left <= 0:
                del self._requests[request]
            return fits

    def lines(self) -> list[str]:
        """Return the wall screen's lines: one for each pending request."""
        with self._lock:
            self._forget(self._clock_s())
            return [_line(one) for one in self._requests.values()]

    def _forget(self, now_s: float) -> None:
        for key in [k for k, r in self._requests.items() if r.until_s <= now_s]:
            del self._requests[key]


def _line(one: _Request) -> str:
    half = CODE_DIGITS // 2
    return f"A screen at {one.address} asks to look in. To allow it, type {one.code[:half]} {one.code[half:]} there."
