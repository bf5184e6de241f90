"""A dashboard with coaching over a real store, served without a rig."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

from fake_coach import FakeCoach, StoredReader, fill
from fake_rig import served

from monitor.dashboard.routes.maintenance import Maintenance
from monitor.dashboard.routes.power import ProgramEnd
from monitor.dashboard.security.authorization import Authorization
from monitor.demo import demo_rig
from monitor.jobs.job_runner import JobRunner
from monitor.procedures.procedure_manager import ProcedureManager
from monitor.store import AccessFile, DataFolder, open_store


@contextlib.contextmanager
def keeping(folder: Path) -> Iterator[SimpleNamespace]:
    """Serve coaching over a store in a folder until the block ends."""
    place = DataFolder.open(folder / "data")
    with open_store(place.database) as store, JobRunner(place, audit=store.audit.add) as jobs:
        person, holds = fill(store)
        coach, end = FakeCoach(store), ProgramEnd()
        authorization = Authorization(AccessFile(place.access_file), audit=store.audit.add)
        more = {
            "maintenance": Maintenance(place, store),
            "authorization": authorization,
            "power": end,
            "jobs": jobs,
            "audit": store.audit.recent,
        }
        more["procedures"] = ProcedureManager(demo_rig(), None, root=place.root, calibrations=place.calibrations)
        with served(store=StoredReader(store), coach=coach, **more) as dashboard:
            yield SimpleNamespace(
                url=dashboard.url, hub=dashboard.hub, store=store, person=person, holds=holds, coach=coach,
                folder=place, authorization=authorization, end=end,
            )  # fmt: skip
