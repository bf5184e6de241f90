"""A running program: source, data folder, database, service and page, put together and taken apart in order."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from importlib.metadata import version

from fastapi import FastAPI

from monitor.dashboard.app import create_app
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.routes.maintenance import Maintenance
from monitor.dashboard.routes.power import ProgramEnd
from monitor.dashboard.security.authorization import Authorization
from monitor.jobs.job_runner import JobRunner
from monitor.service import MonitorService, rig_view
from monitor.service.pipeline_thread import Observer
from monitor.station.page_access import authorization_of, check_passcodes
from monitor.station.page_server import listening, serve_page
from monitor.station.rig_choice import RigChoice
from monitor.station.server_config import ServerConfig
from monitor.station.sources import RigSource, SourceConfig, open_source
from monitor.store import DataFolder, Store, open_store
from monitor.store.files.storage import StorageKeeper


@dataclass(frozen=True, slots=True)
class StationConfig:
    """What a program reads, where it keeps things, and how its page is reached.

    Attributes
    ----------
    source : SourceConfig
    folder : DataFolder
    server : ServerConfig
    passcodes : DataFolder or None
        Where the passcodes are; None: in ``folder``.
    """

    source: SourceConfig
    folder: DataFolder
    server: ServerConfig = field(default_factory=ServerConfig)
    passcodes: DataFolder | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """The parts of a program; the service is not started yet."""

    rig_source: RigSource
    folder: DataFolder
    store: Store
    hub: LiveHub
    service: MonitorService

    def app(
        self,
        *,
        authorization: Authorization | None = None,
        jobs: JobRunner | None = None,
        power: ProgramEnd | None = None,
        setup: RigChoice | None = None,
    ) -> FastAPI:
        """Return the page over these parts, with what ``create_app`` takes besides."""
        service = self.service
        return create_app(
            hub=self.hub,
            store=service,
            rig=rig_view(self.rig_source.rig),
            control=service,
            coach=service,
            instruments=service,
            procedures=service.procedures,
            authorization=authorization,
            audit=self.store.audit.recent,
            jobs=jobs,
            power=power,
            maintenance=Maintenance(self.folder, self.store),
            setup=setup,
        )

    def job_runner(self) -> JobRunner:
        """Return what does long work beside the measuring."""
        store = self.store
        return JobRunner(
            self.folder, version=version("hang-monitor"), let_go=self.service.let_go, audit=store.audit.add
        )


@contextmanager
def assemble(
    rig_source: RigSource,
    folder: DataFolder,
    *,
    hub: LiveHub | None = None,
    observer: Observer | None = None,
    service_class: type[MonitorService] = MonitorService,
) -> Iterator[Station]:
    """Lock a data folder, open its database and join a source to them; when the context ends the service is stopped.

    Parameters
    ----------
    rig_source : RigSource
        It belongs to the caller, but a started service closes it at its end.
    folder : DataFolder
    hub : LiveHub or None
        Where pictures and events are published; None: a new one.
    observer : callable or None
        As of ``MonitorService``.
    service_class : type
        ``MonitorService``, or one that also watches itself.

    Raises
    ------
    FolderInUse, DatabaseNotOpened, DatabaseNotOurs, DatabaseNewer
    """
    hub = hub or LiveHub()
    with folder.held(), open_store(folder.database) as store:
        service = service_class(
            source=rig_source.source,
            rig=rig_source.rig,
            calibration=rig_source.calibration,
            store=store,
            folder=folder,
            hub=hub,
            clock=rig_source.clock,
            recorder=rig_source.recorder,
            observer=observer,
            practice=rig_source.practice,
        )
        try:
            yield Station(rig_source, folder, store, hub, service)
        finally:
            service.stop()


def run_station(
    config: StationConfig,
    *,
    end: ProgramEnd | None = None,
    choice: RigChoice | None = None,
    greeting: Callable[[Station], str] = lambda station: "",
) -> int:
    """Run a program until somebody ends it; return the port of its page.

    Parameters
    ----------
    config : StationConfig
    end : ProgramEnd or None
        Lets the page end the program.
    choice : RigChoice or None
        Lets the page choose a rig.
    greeting : callable
        Returns what is written once nothing hinders the start any more.

    Raises
    ------
    TellableError
        Whatever hinders the start: port, rig, calibration, page port, data folder, database.
    """
    server = config.server
    passcodes = config.passcodes or config.folder
    check_passcodes(server, passcodes)
    with ExitStack() as stack:
        rig_source = stack.enter_context(open_source(config.source, config.folder))
        listener = stack.enter_context(listening(server))
        page_port: int = listener.getsockname()[1]
        station = stack.enter_context(assemble(rig_source, config.folder))
        sys.stdout.write(greeting(station))
        sys.stdout.flush()
        service, store = station.service, station.store
        keeper = stack.enter_context(StorageKeeper(store, config.folder))
        service.watchers.append(keeper.warnings)
        jobs = stack.enter_context(station.job_runner())
        end = end or ProgramEnd()
        app = station.app(
            authorization=authorization_of(server, passcodes, store.audit.add),
            jobs=jobs,
            power=end,
            setup=choice,
        )
        serve_page(app, listener, server, service, end, choice)
    return page_port
