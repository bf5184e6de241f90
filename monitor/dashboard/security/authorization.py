"""Identifies principals and what they may do: wall screens view, coaches work, owners manage."""

from __future__ import annotations

import ipaddress
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Literal, Protocol

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import Scope

from monitor.dashboard.interfaces import Control, GivenSettings, Health
from monitor.dashboard.security.attempt_limits import Attempts, Bucket, is_loopback
from monitor.dashboard.security.pairing import Pairing
from monitor.store.files.access import AccessFile, Role, SignIn

PRINCIPAL = "hang_monitor.principal"
"""Key of the principal in a request's scope."""

THIS_MACHINE = "this machine"
STRANGER = "somebody"

_RANK: dict[str, int] = {"nobody": 0, "wall": 1, "coach": 2, "owner": 3}
_READING = frozenset({"GET", "HEAD"})
_FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")

OPEN_TO_ALL = frozenset(
    {"/sign-in", "/api/sign-in", "/api/sign-out", "/api/principal", "/api/pairing", "/api/pairing/code"}
)
WALL_LOOKS = frozenset(
    {
        "/",
        "/healthz",
        "/metrics",
        "/settings",
        "/api/health",
        "/api/rig",
        "/api/live",
        "/api/settings",
        "/api/holds",
        "/api/advice",
        "/api/bar",
        "/api/screens",
        "/api/feed",
    }
)
OWNERS_ONLY = (
    "/api/audit",
    "/api/sign-ins",
    "/api/power",
    "/api/setup",
    "/api/passcodes",
    "/api/maintenance/policy",
    "/api/maintenance/backups",
    "/api/uploads",
    "/api/jobs/archive",
    "/api/jobs/import",
    "/api/jobs/reanalysis",
    "/api/jobs/erase",
    "/api/jobs/backup",
)

REQUESTS_HZ, REQUESTS_AT_ONCE = 40.0, 300.0


@dataclass(frozen=True, slots=True)
class Principal:
    """Who sent a request: name, role, address, and the sign-in behind it (None: none was needed)."""

    name: str
    role: Role | Literal["nobody"]
    address: str
    sign_in: SignIn | None = None

    def reaches(self, role: str) -> bool:
        """Return whether this principal may do what a role may."""
        return _RANK[self.role] >= _RANK[role]


def who_asks(request: Request) -> str:
    """Return who sent a request, as the audit log names them."""
    principal: Principal | None = request.scope.get(PRINCIPAL)
    if principal is None:
        return THIS_MACHINE
    return principal.name if principal.sign_in is None else f"{principal.name} ({principal.role})"


class AuditWriter(Protocol):
    """Records who did what."""

    def __call__(self, who: str, what: str, subject: str = "") -> None:
        """Record one entry."""
        ...


class Authorization:
    """Identifies principals by cookie and address.

    Nobody has a passcode: only this machine is served, and whoever sits at it may do everything. As soon as there is
    a passcode, this machine's own browser without a sign-in is a wall screen, and everyone else is nobody.

    Parameters
    ----------
    access : AccessFile
    network : bool
        The page is served beyond this machine.
    behind_proxy : bool
        A proxy on this machine speaks for others: an address of this machine then proves nothing.
    secure : bool
        The page is reached by TLS: the cookie is sent by TLS only.
    names : frozenset of str
        Host names, besides addresses, under which the page may be requested.
    audit : callable or None
        Gets every change that somebody made.
    tell : callable
        Gets lines for the terminal.
    """

    def __init__(
        self,
        access: AccessFile,
        *,
        network: bool = False,
        behind_proxy: bool = False,
        secure: bool = False,
        names: frozenset[str] = frozenset(),
        audit: AuditWriter | None = None,
        tell: Callable[[str], None] = lambda line: None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.access = access
        self.network, self.behind_proxy, self.secure = network, behind_proxy, secure
        self.names = frozenset(name.lower() for name in names)
        self.audit = audit
        self.attempts = Attempts(clock_s)
        self.pairing = Pairing(clock_s, tell)
        self._requests = Bucket(REQUESTS_HZ, REQUESTS_AT_ONCE, clock_s)

    @property
    def cookie_name(self) -> str:
        """Name of the session cookie; with the prefix a browser takes it from this host by TLS only (RFC 6265bis)."""
        return "__Host-hang_monitor" if self.secure else "hang_monitor"

    def principal(self, scope: Scope) -> Principal:
        """Return the principal that sent the request.

        Raises
        ------
        AccessNotUsable
            The passcode file is damaged: nobody can be identified.
        """
        headers = Headers(scope=scope)
        address = str((scope.get("client") or ("", 0))[0])
        accounts = self.access.accounts()
        token = _cookie(headers, self.cookie_name)
        sign_in = self.access.sign_in_of(token) if token else None
        if sign_in is not None and accounts:
            return Principal(sign_in.name, sign_in.role, address, sign_in)
        # An unconfigured proxy shows in the headers; the address is then the proxy's, not a person's.
        at_home = is_loopback(address) and not self.behind_proxy and not any(name in headers for name in _FORWARDED)
        if at_home:
            return Principal(THIS_MACHINE, "wall" if accounts else "owner", address)
        return Principal(STRANGER, "nobody", address)

    def needs(self, method: str, path: str) -> str:
        """Return the role that a request needs; what is not named here needs a coach."""
        if path in OPEN_TO_ALL or (path.startswith("/static/") and method in _READING):
            return "nobody"
        if any(path == place or path.startswith(place + "/") for place in OWNERS_ONLY):
            return "owner"
        if path in WALL_LOOKS and method in _READING:
            return "wall"
        # Erasing a person cannot be taken back.
        if method == "DELETE" and path.startswith("/api/people/") and path.count("/") == 3:
            return "owner"
        return "coach"

    def may_ask(self, address: str) -> bool:
        """Return whether an address is within its request limit; this machine is not limited."""
        return is_loopback(address) or self._requests.take(address)

    def still_in(self, principal: Principal) -> bool:
        """Return whether an open connection is still authorized: its device has not been signed out since."""
        if principal.sign_in is None:
            return not self.access.accounts() or principal.role != "owner"
        return any(one.id == principal.sign_in.id for one in self.access.sign_ins())

    def own_name(self, name: str | None, scope: Scope) -> bool:
        """Return whether a requested host name is one of this machine's names on the network.

        An address needs no list: a foreign name that was turned to this machine is a name, so whoever asks for the
        very address that the connection came in at was not led here by a foreign name.
        """
        if name is None or not (self.network or self.behind_proxy):
            return False
        if name.lower() in self.names:
            return True
        try:
            requested = ipaddress.ip_address(name.partition("%")[0])
            server = ipaddress.ip_address(str((scope.get("server") or ("", 0))[0]).partition("%")[0])
        except ValueError:
            return False
        if isinstance(server, ipaddress.IPv6Address) and server.ipv4_mapped:
            server = server.ipv4_mapped
        return self.network and requested == server


class Announced:
    """A control whose health also lists screens waiting to be paired, so that the wall screen shows their codes."""

    def __init__(self, control: Control, authorization: Authorization) -> None:
        self._control, self._authorization = control, authorization

    def settings(self) -> GivenSettings:
        """Return what is in force."""
        return self._control.settings()

    def change(self, settings: GivenSettings) -> GivenSettings:
        """Put settings in force and return them."""
        return self._control.change(settings)

    def health(self) -> Health:
        """Return whether the rig can measure, and which screens wait to be paired."""
        health = self._control.health()
        lines = self._authorization.pairing.lines()
        if not lines:
            return health
        return {"link": health["link"], "warnings": [*lines, *health.get("warnings", [])]}


def names_of_machine() -> frozenset[str]:
    """Return the names under which a local network usually knows this machine: its own, bare and with ``.local``."""
    bare = socket.gethostname().partition(".")[0].lower()
    return frozenset({bare, f"{bare}.local"}) if bare else frozenset()


def _cookie(headers: Headers, name: str) -> str | None:
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return morsel.value if morsel is not None else None
