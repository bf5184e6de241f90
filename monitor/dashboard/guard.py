"""Who may read the page: this machine under its own names, and no foreign page in between."""

from __future__ import annotations

import logging
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from monitor.dashboard.problems import ForeignOrigin, Unforeseen, UnknownHost, problem
from monitor.errors import TellableError

log = logging.getLogger(__name__)

SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
POLICY_VIOLATION = 1008
"""WebSocket close code of RFC 6455 section 7.4.1."""


class Guard:
    """Checks Host and Origin of every request and feed, and puts the security headers on every answer.

    A Host that is none of ours is a name that somebody else's DNS turned to this machine; an Origin that is not the
    page's own is a foreign page that reaches through the browser. Requests without an Origin (command line tools,
    plain navigation) pass: the Host check holds for them.
    """

    def __init__(self, app: ASGIApp, host_names: frozenset[str]) -> None:
        self._app = app
        self._host_names = host_names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it in the one error shape."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(Headers(scope=scope))
        if scope["type"] == "websocket":
            if refusal is None:
                await self._app(scope, receive, send)
            else:
                await receive()
                await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": refusal.code})
            return

        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-cache")
            await send(message)

        if refusal is not None:
            await problem(refusal, 403)(scope, receive, send_with_headers)
            return
        try:
            await self._app(scope, receive, send_with_headers)
        except Exception:
            log.exception("The dashboard failed at %s.", scope["path"])
            if started:
                raise
            await problem(Unforeseen(), 500)(scope, receive, send_with_headers)

    def _refusal(self, headers: Headers) -> TellableError | None:
        host = headers.get("host", "")
        if _name(f"//{host}") not in self._host_names:
            return UnknownHost(host)
        origin = headers.get("origin")
        if origin is None:
            return None
        parts = urlsplit(origin)
        if parts.scheme not in ("http", "https") or parts.netloc.lower() != host.lower():
            return ForeignOrigin(origin)
        return None


def _name(address: str) -> str | None:
    try:
        return urlsplit(address).hostname
    except ValueError:
        return None
