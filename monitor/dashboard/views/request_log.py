"""A short id for every request, in the log and the response header, and counts of responses."""

from __future__ import annotations

import logging
import secrets
import threading
from collections import Counter
from contextvars import ContextVar

log = logging.getLogger(__name__)

REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="")
"""Number of the request that is being answered; empty outside of one."""

HEADER = "X-Request-Id"
_QUIET = frozenset({"GET", "HEAD", "OPTIONS"})
_METHODS = frozenset({*_QUIET, "POST", "PUT", "DELETE", "PATCH"})


def new_request_id() -> str:
    """Return a number that no other request of this week is likely to have; what a client sends is never taken."""
    return secrets.token_hex(6)


class RequestCounts:
    """Counts answers by method and status."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._counts: Counter[tuple[str, int]] = Counter()

    def add(self, method: str, path: str, status: int, took_s: float) -> None:
        """Count an answer, and log it: changes and failures for everybody to read, the rest for who looks closely."""
        with self._lock:
            self._counts[method if method in _METHODS else "other", status] += 1
        level = logging.WARNING if status >= 500 else logging.DEBUG if method in _QUIET else logging.INFO
        if log.isEnabledFor(level):
            more = {"method": method, "path": path[:200], "status": status, "took_ms": round(1e3 * took_s, 1)}
            log.log(level, "%s %s: %d", method, path[:200], status, extra={"structure": more})

    def all(self) -> dict[tuple[str, int], int]:
        """Return how many answers there were by method and status."""
        with self._lock:
            return dict(self._counts)
