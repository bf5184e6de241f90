"""Checks every request: this machine under its own names, signed-in devices, no cross-site requests."""

from __future__ import annotations

import asyncio
import logging
import time
from collections import Counter
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from monitor.dashboard.security.attempt_limits import key_of
from monitor.dashboard.security.authorization import PRINCIPAL, Authorization, Principal
from monitor.dashboard.security.refusals import (
    NotJson,
    NotYourRole,
    Refusal,
    SignInNeeded,
    TooLarge,
    TooManyTries,
    TooSlow,
)
from monitor.dashboard.views.problems import ForeignOrigin, Unforeseen, UnknownHost, problem
from monitor.dashboard.views.request_log import HEADER, REQUEST_ID, RequestCounts, new_request_id
from monitor.errors import TellableError
from monitor.store.files.access import AccessNotUsable

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
POLICY_VIOLATION, TRY_LATER = 1008, 1013
"""WebSocket close codes of RFC 6455 section 7.4.1 and of its registry."""

MOST_BODY_BYTES = 1 << 20
BODY_WITHIN_S = 15.0
ANSWER_WITHIN_S = 30.0
"""Longest time for a client to read one piece of a response; slower clients are disconnected."""

LARGE_BODIES = {"/api/uploads": "application/zip"}
"""Addresses that take files, piece by piece and within a limit of their own. A form of a foreign page cannot send this
kind of content, as it cannot send JSON (Fetch standard: no CORS-safelisted content type)."""

MOST_FEEDS = 16
"""Live feeds that one device of the network may have open."""

LOOK_AGAIN_S = 1.0
"""Time until a signed-out device's feed ends."""

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class _NotTaken(Exception):
    """A piece of a response was not read in time."""


class SecurityMiddleware:
    """Checks every request and feed, and puts the security headers on every answer.

    A Host that is none of ours is a name that somebody else's DNS turned to this machine; an Origin that is not the
    page's own is a foreign page that reaches through the browser. Requests without an Origin (command line tools,
    plain navigation) pass: the Host check holds for them, and the session cookie is never sent across sites.

    Parameters
    ----------
    host_names : frozenset of str
        Names of this machine for itself.
    authorization : Doorkeeper or None
        None: whoever passes the checks of Host and Origin may do everything.
    counts : RequestCounts, optional
        Counts and logs every answer.
    """

    def __init__(
        self,
        app: ASGIApp,
        host_names: frozenset[str],
        authorization: Authorization | None = None,
        counts: RequestCounts | None = None,
    ) -> None:
        self._app = app
        self._counts = counts or RequestCounts()
        self._host_names = host_names
        self._authorization = authorization
        self._feeds: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it in the common error format."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._feed(scope, receive, send)
        else:
            request_id = REQUEST_ID.set(new_request_id())
            try:
                await self._request(scope, receive, send)
            finally:
                REQUEST_ID.reset(request_id)

    async def _feed(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = self._refusal(scope)
        principal: Principal | None = scope.get(PRINCIPAL)
        key = key_of(principal.address) if principal is not None and principal.sign_in is not None else ""
        code = POLICY_VIOLATION
        if refusal is None and key and self._feeds[key] >= MOST_FEEDS:
            refusal, code = TooManyTries(60), TRY_LATER
        if refusal is not None:
            await receive()
            await send({"type": "websocket.close", "code": code, "reason": refusal.code})
            return
        self._feeds[key] += 1
        try:
            await self._app(scope, receive, send if principal is None else self._watched(principal, send))
        finally:
            self._feeds[key] -= 1
            if self._feeds[key] <= 0:
                del self._feeds[key]

    def _watched(self, principal: Principal, send: Send) -> Send:
        """Return a send that ends the feed of a device that was signed out."""
        looked_s = time.monotonic()

        async def watched(message: Message) -> None:
            nonlocal looked_s
            if message["type"] == "websocket.send" and time.monotonic() - looked_s > LOOK_AGAIN_S:
                looked_s = time.monotonic()
                if not self._still_in(principal):
                    await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": SignInNeeded.code})
                    raise asyncio.CancelledError
            await send(message)

        return watched

    def _still_in(self, principal: Principal) -> bool:
        try:
            return self._authorization is None or self._authorization.still_in(principal)
        except AccessNotUsable:
            return False

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        started, begun_s = False, time.monotonic()

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                await self._audit(scope, message["status"])
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-cache")
                headers[HEADER] = REQUEST_ID.get()
                self._counts.add(scope["method"], scope["path"], message["status"], time.monotonic() - begun_s)
            try:
                await asyncio.wait_for(send(message), ANSWER_WITHIN_S)
            except TimeoutError:
                raise _NotTaken from None

        refusal = self._refusal(scope)
        if refusal is not None:
            await _answer(refusal, scope)(scope, receive, send_with_headers)
            return
        try:
            body = _piecewise(receive) if scope["path"] in LARGE_BODIES else await _whole_body(scope, receive)
            await self._app(scope, body, send_with_headers)
        except (TooLarge, TooSlow) as error:
            answer = _answer(error, scope)
            answer.headers["Connection"] = "close"
            await answer(scope, receive, send_with_headers)
        except _NotTaken:
            log.info("Somebody who did not take the answer of %s was let go.", scope["path"])
        except Exception:
            log.exception("The dashboard failed at %s.", scope["path"])
            if started:
                raise
            await problem(Unforeseen(), 500)(scope, receive, send_with_headers)

    async def _audit(self, scope: Scope, status: int) -> None:
        """Record who changed what, before it is acknowledged."""
        principal: Principal | None = scope.get(PRINCIPAL)
        if self._authorization is None or self._authorization.audit is None or principal is None:
            return
        if (
            scope["method"] in _SAFE
            or status >= 400
            or self._authorization.needs(scope["method"], scope["path"]) == "nobody"
        ):
            return
        who = principal.name if principal.sign_in is None else f"{principal.name} ({principal.role})"
        try:
            await run_in_threadpool(self._authorization.audit, who, scope["method"].lower(), scope["path"])
        except TellableError as error:
            log.error("A change at %s by %s was not put into the audit log: %s", scope["path"], who, error)

    def _refusal(self, scope: Scope) -> TellableError | None:
        """Return why a request or feed is refused; an admitted principal is put into the scope."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        name = _name(f"//{host}")
        if name not in self._host_names and not (
            self._authorization is not None and self._authorization.own_name(name, scope)
        ):
            return UnknownHost(host)
        method = scope.get("method", "GET")
        foreign = _foreign(headers, host, method, scope)
        if foreign is not None:
            return foreign
        if method not in _SAFE and _has_body(headers):
            kind = headers.get("content-type", "").partition(";")[0].strip().lower()
            if kind != LARGE_BODIES.get(scope["path"], "application/json"):
                return NotJson()
        return self._turned_away(scope, method)

    def _turned_away(self, scope: Scope, method: str) -> TellableError | None:
        authorization = self._authorization
        if authorization is None:
            return None
        if not authorization.may_ask(str((scope.get("client") or ("", 0))[0])):
            return TooManyTries(5)
        needed = authorization.needs(method, scope["path"])
        try:
            principal = authorization.principal(scope)
        except AccessNotUsable as error:
            return None if needed == "nobody" and method in _SAFE else error
        scope[PRINCIPAL] = principal
        if principal.reaches(needed):
            return None
        return SignInNeeded() if principal.role == "nobody" else NotYourRole(principal.role, needed)


def _foreign(headers: Headers, host: str, method: str, scope: Scope) -> ForeignOrigin | None:
    """Return a refusal if the request comes from a page that is not this one (RFC 6454; Fetch Metadata)."""
    origin = headers.get("origin")
    if origin is not None:
        parts = urlsplit(origin)
        if parts.scheme not in ("http", "https") or parts.netloc.lower() != host.lower():
            return ForeignOrigin(origin)
        return None
    # A link on a foreign page may lead here; anything else that a foreign page makes a browser fetch may not.
    link = method in _SAFE and headers.get("sec-fetch-mode") == "navigate" and scope["type"] == "http"
    if headers.get("sec-fetch-site", "none") in ("cross-site", "same-site") and not link:
        return ForeignOrigin("another site")
    return None


def _has_body(headers: Headers) -> bool:
    return headers.get("content-length", "0") != "0" or "transfer-encoding" in headers


def _piecewise(receive: Receive) -> Receive:
    """Return a receive whose every piece must come within a time."""

    async def patient() -> Message:
        try:
            return await asyncio.wait_for(receive(), BODY_WITHIN_S)
        except TimeoutError:
            raise TooSlow(BODY_WITHIN_S) from None

    return patient


async def _whole_body(scope: Scope, receive: Receive) -> Receive:
    """Take a request's body, within a size and a time, and return a receive that gives it whole.

    Raises
    ------
    TooLarge, TooSlow
    """
    headers = Headers(scope=scope)
    if not _has_body(headers):
        return receive
    declared = headers.get("content-length", "0")
    if declared.isdigit() and int(declared) > MOST_BODY_BYTES:
        raise TooLarge(MOST_BODY_BYTES)
    body, more, ends_s = bytearray(), True, time.monotonic() + BODY_WITHIN_S
    while more:
        try:
            message = await asyncio.wait_for(receive(), max(0.0, ends_s - time.monotonic()))
        except TimeoutError:
            raise TooSlow(BODY_WITHIN_S) from None
        if message["type"] != "http.request":
            break
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > MOST_BODY_BYTES:
            raise TooLarge(MOST_BODY_BYTES)
    given = False

    async def replayed() -> Message:
        nonlocal given
        if given or more:
            return await receive()
        given = True
        return {"type": "http.request", "body": bytes(body), "more_body": False}

    return replayed


def _answer(refusal: TellableError, scope: Scope) -> Response:
    by_role = isinstance(refusal, (SignInNeeded, NotYourRole))
    if by_role and scope["method"] in _SAFE and not scope["path"].startswith("/api/"):
        return RedirectResponse("/sign-in", status_code=303)
    status = refusal.status if isinstance(refusal, Refusal) else 503 if isinstance(refusal, AccessNotUsable) else 403
    answer = problem(refusal, status)
    if isinstance(refusal, TooManyTries):
        answer.headers["Retry-After"] = str(refusal.wait_s)
    return answer


def _name(address: str) -> str | None:
    try:
        return urlsplit(address).hostname
    except ValueError:
        return None
