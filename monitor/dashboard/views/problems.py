"""One format for all errors that reach a screen."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException

from monitor.dashboard.views.screen_templates import NOT_FOUND
from monitor.errors import MonitorError, TellableError
from monitor.exports.formats import UnknownFormat
from monitor.procedures.procedure import ProcedureMovedOn, ProcedureNotReady
from monitor.procedures.procedure_manager import NoProcedure, ProcedureUnderWay, RigInUse
from monitor.store import UnknownCorrection, UnknownHold, UnknownMarker, UnknownPerson, UnknownSession


class DashboardError(MonitorError):
    """Base class of the dashboard's errors."""

    code = "dashboard"


class NotThere(DashboardError):
    """There is nothing at this address, or no hold of this name."""

    code = "not-found"

    def __init__(self, wanted: str) -> None:
        super().__init__(
            what=f"There is no {wanted}.",
            means="Nothing was read or changed.",
            do="Check the address; the list of holds names those that exist.",
        )


class NoPictureYet(DashboardError):
    """The rig has not shown anything since the start."""

    code = "no-picture"

    def __init__(self) -> None:
        super().__init__(
            what="The rig has not sent anything yet.",
            means="There is nothing to show.",
            do="Wait a moment; if it stays so, look at the state of the link under /api/health.",
        )


class InvalidRequest(DashboardError):
    """A request carries a value that cannot be used."""

    code = "invalid-request"

    def __init__(self, complaints: str) -> None:
        super().__init__(
            what=f"The request cannot be used: {complaints}.",
            means="Nothing was changed.",
            do="Mend the value and send it again; /api/openapi.json tells what is expected.",
        )


class NotAllowed(DashboardError):
    """The address exists, the method does not."""

    code = "method-not-allowed"

    def __init__(self, method: str, path: str) -> None:
        super().__init__(
            what=f"{path} does not take {method}.",
            means="Nothing was read or changed.",
            do="Use a method that /api/openapi.json names for it.",
        )


class UnknownHost(DashboardError):
    """The page was requested under a host name that is not this machine's."""

    code = "unknown-host"

    def __init__(self, host: str) -> None:
        super().__init__(
            what=f"This page is not served under the name {host[:80]!r}.",
            means="A foreign name that leads here may be an attempt to read the rig through a browser.",
            do="Open the address that the program printed when it started.",
        )


class ForeignOrigin(DashboardError):
    """Another page tried to read or change the rig through a browser."""

    code = "foreign-origin"

    def __init__(self, origin: str) -> None:
        super().__init__(
            what=f"A page from {origin[:80]!r} asked for the rig's data.",
            means="Only the rig's own page may read or change it.",
            do="Open the rig's own page instead.",
        )


class Unforeseen(DashboardError):
    """A mistake in the program."""

    code = "internal"

    def __init__(self) -> None:
        super().__init__(
            what="Something went wrong inside the dashboard.",
            means="This answer is missing; measuring and recording go on.",
            do="Load the page again; if it comes back, keep the log and report it.",
        )


STATUS: dict[type[TellableError], int] = {
    NotThere: 404,
    UnknownCorrection: 404,
    UnknownHold: 404,
    UnknownMarker: 404,
    UnknownPerson: 404,
    UnknownSession: 404,
    NoProcedure: 409,
    ProcedureMovedOn: 409,
    ProcedureNotReady: 409,
    ProcedureUnderWay: 409,
    RigInUse: 409,
    UnknownFormat: 422,
    NoPictureYet: 503,
}
"""HTTP status (RFC 9110) of errors from below the dashboard; most of its own carry theirs as ``status``."""


def status_of(error: TellableError) -> int:
    """Return the HTTP status of an error: that of its nearest class that has one, 400 where none has."""
    known = (STATUS[kind] for kind in type(error).__mro__ if kind in STATUS)
    return next(known, int(getattr(error, "status", 400)))


def problem(error: TellableError, status: int) -> JSONResponse:
    """Return an error in the common format: ``{"error": {"code", "what", "means", "do"}}``."""
    return JSONResponse({"error": error.as_dict()}, status_code=status)


def tell_problems(app: FastAPI) -> None:
    """Give all of an app's errors the common format, except unforeseen ones, which the security middleware catches."""

    async def explained(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, TellableError)
        return problem(error, status_of(error))

    async def invalid(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)
        return problem(InvalidRequest("; ".join(_complaint(part) for part in error.errors())), 422)

    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        path = request.url.path
        if error.status_code == 404:
            if _person_asks(request):
                return HTMLResponse(NOT_FOUND.html(), status_code=404)
            return problem(NotThere(f"page at {path}"), 404)
        if error.status_code == 405:
            answer = problem(NotAllowed(request.method, path), 405)
            # RFC 9110 section 15.5.6: the answer must name the methods that there are.
            answer.headers["Allow"] = (error.headers or {}).get("Allow", "GET")
            return answer
        return problem(InvalidRequest(str(error.detail)), error.status_code)

    app.add_exception_handler(TellableError, explained)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(HTTPException, refused)


def _person_asks(request: Request) -> bool:
    """Say whether a browser asks for a page to be read, rather than a program for data."""
    path = request.url.path
    wants_page = "text/html" in request.headers.get("accept", "")
    return wants_page and request.method == "GET" and not path.startswith(("/api/", "/static/"))


def _complaint(part: dict[str, Any]) -> str:
    where = ".".join(str(step) for step in part.get("loc", ()) if step not in ("body", "query", "path"))
    return f"{where or 'body'}: {part.get('msg', 'not usable')}"
