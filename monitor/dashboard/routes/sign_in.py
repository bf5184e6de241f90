"""REST: signing in and out, pairing of a new screen by a code on the wall screen, and an owner's list of devices."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any, Literal, Protocol

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from monitor.dashboard.security.authorization import PRINCIPAL, Authorization, Principal
from monitor.dashboard.security.refusals import Refusal, TooManyTries, WrongCode, WrongPasscode
from monitor.dashboard.views.models import RowId
from monitor.dashboard.views.problems import NotThere, problem
from monitor.dashboard.views.record_answers import Answer
from monitor.records.audit_entry import AuditEntry
from monitor.store.files.access import LASTS_S, LONGEST_NAME, LONGEST_PASSCODE, Role

MOST_WAITING = 4
"""Passcodes that may wait to be checked; each costs 64 MiB and some tenths of a second on a small board, so that
they are checked one after the other."""

REQUEST_COOKIE_S = 180


class AuditReader(Protocol):
    """Reads the audit log."""

    def __call__(self, limit: int, before_id: int | None) -> list[AuditEntry]:
        """Return entries, newest first."""
        ...


class PasscodeModel(BaseModel):
    """A name and its passcode."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(max_length=4 * LONGEST_NAME)
    passcode: str = Field(max_length=4 * LONGEST_PASSCODE)


class CodeModel(BaseModel):
    """The code that the wall shows."""

    model_config = ConfigDict(extra="forbid")

    code: str = Field(max_length=32)


class PrincipalModel(BaseModel):
    """Who this device is for the rig. ``passcodes`` false: nobody has one, only this machine is served."""

    name: str | None
    role: Literal["nobody", "wall", "coach", "owner"]
    signed_in: bool
    passcodes: bool


class SignInModel(BaseModel):
    """A device that is signed in."""

    id: str
    name: str
    role: Role
    device: str
    begun_utc_ms: int
    ends_utc_ms: int


AuditAnswer = Annotated[AuditEntry, Answer()]


# Ruff adds up the branches of the routes inside; each route alone has few.
def sign_in_routes(authorization: Authorization) -> APIRouter:  # noqa: C901
    """Return the sign-in routes: ``/sign-in``, ``/sign-out``, ``/principal``, ``/pairing``, ``/sign-ins``."""
    router = APIRouter(tags=["authorization"])
    looking = asyncio.Semaphore(1)
    waiting = 0

    @router.get("/principal", response_model=PrincipalModel)
    def principal(request: Request) -> dict[str, Any]:
        """Tell who this device is."""
        who: Principal = request.scope[PRINCIPAL]
        return {
            "name": None if who.role == "nobody" else who.name,
            "role": who.role,
            "signed_in": who.sign_in is not None,
            "passcodes": bool(authorization.access.accounts()),
        }

    @router.post("/sign-in", status_code=204)
    async def sign_in(request: Request, given: PasscodeModel) -> Response:
        """Sign this device in with a name and a passcode; the answer sets a cookie."""
        nonlocal waiting
        address = _address(request)
        if waiting >= MOST_WAITING:
            return _refused(TooManyTries(2))
        waiting += 1
        try:
            async with looking:
                # Inside the lock: tries sent simultaneously are counted one after the other.
                wait_s = authorization.attempts.wait_s(address)
                if wait_s > 0:
                    return _refused(TooManyTries(wait_s))
                account = await run_in_threadpool(authorization.access.check, given.name, given.passcode)
                if account is None:
                    authorization.attempts.failed(address)
                    return _refused(WrongPasscode())
        finally:
            waiting -= 1
        authorization.attempts.succeeded(address)
        return await _let_in(request, account.name, account.role)

    @router.post("/sign-out", status_code=204)
    def sign_out(request: Request) -> Response:
        """Sign this device out; its cookie is no longer valid."""
        who: Principal = request.scope[PRINCIPAL]
        if who.sign_in is not None:
            authorization.access.sign_out(who.sign_in.id)
        answer = Response(status_code=204)
        answer.delete_cookie(
            authorization.cookie_name, path="/", secure=authorization.secure, httponly=True, samesite="strict"
        )
        return answer

    @router.post("/pairing", status_code=204)
    def ask(request: Request) -> Response:
        """Request a code on the wall screen that lets this device view the live page."""
        address = _address(request)
        wait_s = authorization.attempts.wait_s(address)
        request_secret = authorization.pairing.ask(address) if wait_s == 0 else None
        if request_secret is None:
            return _refused(TooManyTries(wait_s or 60))
        answer = Response(status_code=204)
        _set(answer, f"{authorization.cookie_name}_asked", request_secret, REQUEST_COOKIE_S)
        return answer

    @router.post("/pairing/code", status_code=204)
    async def code(request: Request, given: CodeModel) -> Response:
        """Submit the code shown on the wall screen; this device then becomes a wall screen."""
        address = _address(request)
        wait_s = authorization.attempts.wait_s(address)
        if wait_s > 0:
            return _refused(TooManyTries(wait_s))
        if not authorization.pairing.redeem(request.cookies.get(f"{authorization.cookie_name}_asked", ""), given.code):
            authorization.attempts.failed(address)
            return _refused(WrongCode())
        answer = await _let_in(request, "wall screen", "wall")
        answer.delete_cookie(f"{authorization.cookie_name}_asked", path="/", secure=authorization.secure, httponly=True)
        return answer

    @router.get("/sign-ins", response_model=list[SignInModel])
    def sign_ins() -> list[dict[str, Any]]:
        """List the devices that are signed in."""
        return [
            {
                "id": one.id,
                "name": one.name,
                "role": one.role,
                "device": one.device,
                "begun_utc_ms": round(one.begun_utc_s * 1e3),
                "ends_utc_ms": round(one.ends_utc_s * 1e3),
            }
            for one in authorization.access.sign_ins()
        ]

    @router.delete("/sign-ins/{sign_in_id}", status_code=204)
    def send_out(sign_in_id: str) -> Response:
        """Sign a device out."""
        if not authorization.access.sign_out(sign_in_id):
            raise NotThere(f"signed-in device {sign_in_id[:40]!r}")
        return Response(status_code=204)

    async def _let_in(request: Request, name: str, role: Role) -> Response:
        before: Principal = request.scope[PRINCIPAL]
        if before.sign_in is not None:
            await run_in_threadpool(authorization.access.sign_out, before.sign_in.id)
        device = f"{_address(request)} {request.headers.get('user-agent', '')}"
        token = await run_in_threadpool(authorization.access.sign_in, name, role, device)
        if authorization.audit is not None:
            await run_in_threadpool(authorization.audit, f"{name} ({role})", "signed in", device)
        answer = Response(status_code=204)
        _set(answer, authorization.cookie_name, token, round(LASTS_S[role]))
        return answer

    def _set(answer: Response, name: str, value: str, lasts_s: int) -> None:
        answer.set_cookie(
            name, value, max_age=lasts_s, path="/", secure=authorization.secure, httponly=True, samesite="strict"
        )

    return router


def audit_routes(recent: AuditReader) -> APIRouter:
    """Return the route ``/audit``."""
    router = APIRouter(tags=["authorization"])

    @router.get("/audit", response_model=list[AuditAnswer])
    def audit(before: RowId | None = None) -> list[AuditEntry]:
        """List who changed what, newest first; ``before`` an id for the next page."""
        return recent(200, before)

    return router


def _address(request: Request) -> str:
    return request.client.host if request.client is not None else ""


def _refused(refusal: Refusal) -> JSONResponse:
    answer = problem(refusal, refusal.status)
    if isinstance(refusal, TooManyTries):
        answer.headers["Retry-After"] = str(refusal.wait_s)
    return answer
