"""The whole page over a real database: every address that the program serves, without rig, argon2 and long work."""

from __future__ import annotations

import io
import itertools
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from fastapi import FastAPI

sys.path.extend(str(Path(__file__).parents[1] / folder) for folder in ("dashboard", "trust", "store"))
from blank import blank_database
from fake_coach import FakeCoach, StoredReader, fill
from fake_rig import HANGS_S, RIG, FakeControl, scene_at

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.job_interface import Job, JobKind, NoResult, NotCancellable, TooManyJobs
from monitor.dashboard.routes.maintenance import Maintenance
from monitor.dashboard.routes.power import ProgramEnd
from monitor.dashboard.security.authorization import Authorization
from monitor.demo import DemoRig
from monitor.procedures.procedure_manager import ProcedureManager
from monitor.station.rig_choice import RigChoice
from monitor.store import AccessFile, DataFolder, open_store

Page = tuple[FastAPI, dict[str, list[Any]]]
"""An application, and values of path parameters that exist in it."""

MOST_JOBS = 50
PASSCODE = "seven slow trams"


class JobsOnPaper:
    """Takes jobs and never does them; a cancelled one is over."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}
        self._numbers = itertools.count(1)

    def start(
        self, kind: JobKind, analysis_settings: Mapping[str, Any], *, who: str, subject: str | None = None
    ) -> Job:
        if len(self._jobs) >= MOST_JOBS:
            self._jobs.clear()
            raise TooManyJobs(MOST_JOBS)
        number = f"job-{next(self._numbers)}"
        made = Job(number, kind, "waiting", 0.0, "waiting", "waiting", who, subject, 1, None, True, None, {}, None)
        self._jobs[number] = made
        return made

    def all(self) -> list[Job]:
        return list(self._jobs.values())[::-1]

    def get(self, job_id: str) -> Job | None:
        return self._jobs.get(job_id)

    def cancel(self, job_id: str) -> Job:
        if job_id not in self._jobs:
            raise NotCancellable(job_id)
        return self._jobs.pop(job_id)

    def new_upload(self) -> tuple[str, BinaryIO]:
        return "upload-1", io.BytesIO()

    def upload(self, name: str) -> Path | None:
        return Path("upload-1") if name == "upload-1" else None

    def drop_upload(self, name: str) -> None:
        """Nothing was kept."""

    def file(self, job_id: str) -> Path:
        raise NoResult(job_id, "it is not done")


class PlainHasher:
    """In the place of argon2id: a fuzzer's time is for the addresses."""

    def hash(self, passcode: str) -> str:
        return f"plain:{passcode}"

    def verify(self, encoded: str, passcode: str) -> bool:
        return encoded == f"plain:{passcode}"


def at_the_machine(app: Any) -> Any:
    """Return the application as somebody meets it who sits at the machine itself."""

    async def called(scope: Any, receive: Any, send: Any) -> None:
        await app({**scope, "client": ("127.0.0.1", 50_000)}, receive, send)

    return called


@contextmanager
def whole_page(
    folder: Path, *, passcodes: dict[str, Any] | None = None
) -> Iterator[tuple[FastAPI, dict[str, list[Any]]]]:
    """Yield the application as whoever sits at a machine without passcodes meets it, an owner; and names that exist.

    With ``passcodes``, a role for each name, it is served to the network.
    """
    data, invented = DataFolder.open(folder / "data"), DemoRig(1)
    with open_store(blank_database(data.database)) as store:
        person, holds = fill(store)
        coach, hub = FakeCoach(store), LiveHub()
        coach.set_person(person)
        hub.publish(scene_at(HANGS_S + 2.0))
        access = AccessFile(data.access_file, PlainHasher())
        for name, role in (passcodes or {}).items():
            access.set_passcode(name, role, PASSCODE)
        authorization = Authorization(access, audit=store.audit.add, network=bool(passcodes))
        procedures = ProcedureManager(
            invented.rig,
            invented.calibration,
            root=data.root,
            calibrations=data.calibrations,
            in_use=lambda: False,
            hangs=lambda: False,
            ended=lambda _calibration: None,
            audit=store.audit.add,
        )
        names = {
            "uid": [person, *(hold.uid for hold in holds[:3])],
            "session_uid": [hold.session_uid for hold in holds[:3]],
            "name": ["first_hangs"],
            "number": [1, 2],
            "job_id": ["job-1", "job-2"],
        }
        app = create_app(
            hub=hub,
            store=StoredReader(store),
            rig=RIG,
            control=FakeControl(),
            coach=coach,
            authorization=authorization,
            audit=store.audit.recent,
            jobs=JobsOnPaper(),
            power=ProgramEnd(is_service=True),
            maintenance=Maintenance(data, store),
            procedures=procedures,
            setup=RigChoice(data),
        )
        yield app, names
