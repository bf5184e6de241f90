"""REST: where data is stored, how long disk space lasts, who has a passcode, which versions run."""

from __future__ import annotations

import contextlib
import datetime as dt
import platform
import sqlite3
import time
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from pydantic import AfterValidator, BaseModel, Field

from monitor.dashboard.routes.jobs import usable_place
from monitor.dashboard.security.authorization import Authorization, who_asks
from monitor.dashboard.views.coaching_models import Given
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.store.files.folder import DataFolder
from monitor.store.files.storage import Policy, budget_of, policy_of, set_policy
from monitor.store.maintenance.backup_contents import list_backups
from monitor.store.store import Store

MOST_BACKUPS = 200


@dataclass(frozen=True, slots=True)
class Maintenance:
    """Where the program stores its data: the data folder and the database."""

    folder: DataFolder
    store: Store


class RoomModel(BaseModel):
    """Free space on the data folder's disk. ``days_left``: until it is full at the rate of the last 30 days."""

    free_bytes: int
    journal_bytes: int
    database_bytes: int
    per_day_bytes: float
    days_left: float | None
    warnings: list[str]


class PolicyModel(Given):
    """What happens to the oldest raw curves when the disk is nearly full; holds and their results are never deleted."""

    oldest: Literal["keep", "remove"]
    keep_days: int = Field(ge=30, le=36_500)


class NetworkModel(BaseModel):
    """Who can reach the page. ``names``: host names it answers to; ``secure``: TLS only."""

    beyond_this_machine: bool
    secure: bool
    names: list[str]
    passcodes: int


class VersionsModel(BaseModel):
    """Versions of the program and of its measurement."""

    program: str
    measurement: int
    python: str
    sqlite: str


class MaintenanceModel(BaseModel):
    """The program's environment. ``room`` is null where the disk does not answer."""

    folder: str
    room: RoomModel | None
    policy: PolicyModel
    network: NetworkModel | None
    versions: VersionsModel
    time_zone: str
    utc_offset_s: int


class BackupModel(BaseModel):
    """A backup at a place. It was read back and compared when it was made, at ``made_utc_ms``."""

    stamp: str
    made_utc_ms: int
    files: int
    bytes: int


class PasscodeOwner(BaseModel):
    """Somebody with a passcode; only a hash of the passcode is stored."""

    name: str
    role: Literal["coach", "owner"]
    since_utc_ms: int


class NewPasscode(Given):
    """A new passcode; devices that were signed in under the name are signed out."""

    role: Literal["coach", "owner"]
    passcode: str = Field(min_length=1, max_length=512)


Name = Annotated[str, Field(min_length=1, max_length=40)]


def maintenance_routes(maintenance: Maintenance, authorization: Authorization | None) -> APIRouter:
    """Return the routes below ``/maintenance`` and, with an authorization, ``/passcodes``."""
    router = APIRouter(tags=["maintenance"])

    @router.get("/maintenance", response_model=MaintenanceModel)
    def read() -> MaintenanceModel:
        """Return where data is stored and how long disk space lasts."""
        here = dt.datetime.now().astimezone()
        offset = here.utcoffset() or dt.timedelta()
        return MaintenanceModel(
            folder=str(maintenance.folder.root),
            room=_room(maintenance),
            policy=_policy(maintenance),
            network=None if authorization is None else _network(authorization),
            versions=VersionsModel(
                program=version("hang-monitor"),
                measurement=MEASUREMENT_VERSION,
                python=platform.python_version(),
                sqlite=sqlite3.sqlite_version,
            ),
            time_zone=here.tzname() or "UTC",
            utc_offset_s=round(offset.total_seconds()),
        )

    @router.put("/maintenance/policy", response_model=PolicyModel)
    def change(request: Request, given: PolicyModel) -> PolicyModel:
        """Set what happens to the oldest raw curves when the disk is nearly full (owner)."""
        set_policy(maintenance.store, Policy(given.oldest, given.keep_days), who_asks(request))
        return _policy(maintenance)

    @router.get("/maintenance/backups", response_model=list[BackupModel])
    def backups(
        at: Annotated[str, Query(min_length=1, max_length=1000, pattern="^/"), AfterValidator(usable_place)],
    ) -> list[BackupModel]:
        """List the backups at a place of this machine, newest first (owner)."""
        newest = list_backups(Path(at))[-MOST_BACKUPS:]
        return [
            BackupModel(
                stamp=one.stamp,
                made_utc_ms=_made_ms(one.stamp),
                files=len(one.entries),
                bytes=sum(entry.size for entry in one.entries),
            )
            for one in reversed(newest)
        ]

    if authorization is not None:
        _passcode_routes(router, authorization)
    return router


def _passcode_routes(router: APIRouter, authorization: Authorization) -> None:
    @router.get("/passcodes", response_model=list[PasscodeOwner])
    def everybody() -> list[PasscodeOwner]:
        """List who has a passcode (owner)."""
        return [
            PasscodeOwner(
                name=one.name,
                role="owner" if one.role == "owner" else "coach",
                since_utc_ms=round(one.since_utc_s * 1e3),
            )
            for one in authorization.access.accounts()
        ]

    @router.put("/passcodes/{name}", status_code=204)
    def give(name: Name, given: NewPasscode) -> None:
        """Set somebody's passcode and role (owner). The first one must be an owner's."""
        authorization.access.set_passcode(name, given.role, given.passcode)

    @router.delete("/passcodes/{name}", status_code=204)
    def take(name: Name) -> None:
        """Remove somebody's passcode and sign their devices out (owner)."""
        authorization.access.forget(name)


def _policy(maintenance: Maintenance) -> PolicyModel:
    policy = policy_of(maintenance.store)
    return PolicyModel(oldest=policy.oldest, keep_days=policy.keep_days)


def _room(maintenance: Maintenance) -> RoomModel | None:
    try:
        budget = budget_of(maintenance.folder)
    except OSError:
        return None
    database_bytes = 0
    for suffix in ("", "-wal"):
        with contextlib.suppress(OSError):
            database_bytes += (
                maintenance.folder.database.with_name(maintenance.folder.database.name + suffix).stat().st_size
            )
    return RoomModel(
        free_bytes=budget.free_bytes,
        journal_bytes=budget.journal_bytes,
        database_bytes=database_bytes,
        per_day_bytes=budget.per_day_bytes,
        days_left=budget.days_left,
        warnings=budget.warnings(),
    )


def _network(authorization: Authorization) -> NetworkModel:
    return NetworkModel(
        beyond_this_machine=authorization.network or authorization.behind_proxy,
        secure=authorization.secure,
        names=sorted(authorization.names),
        passcodes=len(authorization.access.accounts()),
    )


def _made_ms(stamp: str) -> int:
    """Return the instant in a backup's name, 0 where it has none."""
    with contextlib.suppress(ValueError):
        made = time.strptime(stamp[:15], "%Y%m%dT%H%M%S")
        return round(dt.datetime(*made[:6], tzinfo=dt.UTC).timestamp() * 1e3)
    return 0
