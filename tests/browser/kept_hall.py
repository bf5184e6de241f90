"""A dashboard with coaching over a real store, served without a rig."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

from fake_coach import FakeCoach, StoredReader, fill
from fake_rig import served

from monitor.dashboard.doorkeeper import Doorkeeper
from monitor.dashboard.house_api import House
from monitor.dashboard.power_api import ProgramEnd
from monitor.demo import demo_rig
from monitor.health.bench import Bench
from monitor.store import AccessFile, DataFolder, open_store
from monitor.work.workshop import Workshop


@contextlib.contextmanager
def keeping(folder: Path) -> Iterator[SimpleNamespace]:
    """Serve coaching over a store in a folder until the block ends."""
    place = DataFolder.open(folder / "data")
    with open_store(place.database) as store, Workshop(place, audit=store.audit.add) as jobs:
        person, holds = fill(store)
        coach, end = FakeCoach(store), ProgramEnd()
        door = Doorkeeper(AccessFile(place.access_file), audit=store.audit.add)
        more = {"house": House(place, store), "door": door, "power": end, "jobs": jobs, "audit": store.audit.recent}
        more["bench"] = Bench(demo_rig(), None, root=place.root, calibrations=place.calibrations)
        with served(store=StoredReader(store), coach=coach, **more) as dashboard:
            yield SimpleNamespace(
                url=dashboard.url, hub=dashboard.hub, store=store, person=person, holds=holds, coach=coach,
                folder=place, door=door, end=end,
            )  # fmt: skip
