"""``hang-monitor run`` without a rig: the page lets an owner choose one, and the program begins anew with it."""

from __future__ import annotations

import dataclasses
import os
import stat
import sys
import threading
import tomllib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from firmware_bridge.sources import HostClock, LinkState, Source, SourceEvent
from monitor.errors import BadInput
from monitor.rig import BadRig, RigNotFound, load_rig, save_rig, write_toml

if TYPE_CHECKING:
    from monitor.cli.server_config import ServerConfig
    from monitor.dashboard.routes.power import ProgramEnd
    from monitor.health.procedure_manager import Practice
    from monitor.newtons.calibration import Calibration
    from monitor.rig import Rig
    from monitor.store import DataFolder

CHOICE_FILE = "chosen-rig.toml"
VIRTUAL_FOLDER = "virtual"
"""Below the data folder: what is invented is kept apart from what was measured."""

SEED = 1


class NoRig:
    """A source for as long as no rig is chosen: absent, and it says what to do."""

    def __init__(self, clock: HostClock) -> None:
        self._clock = clock
        self._closed = threading.Event()

    def events(self) -> Iterator[SourceEvent]:
        """Yield the one state; then wait for the end."""
        yield LinkState(
            "absent", self._clock.monotonic_ns(), "No rig is chosen yet.", "Open First steps and choose one."
        )
        self._closed.wait()

    def close(self) -> None:
        """End the iteration."""
        self._closed.set()


class RigChoice:
    """What was chosen, on disk and in this run; made for the page's first steps."""

    def __init__(self, folder: DataFolder) -> None:
        self.folder = folder
        self.path = folder.root / CHOICE_FILE
        self.port = self._kept_port()
        self.way: Literal["port", "virtual", "none"] = "port" if self.port and folder.rig_file.exists() else "none"
        self.renewed = False
        self.end: Callable[[], None] = lambda: None
        """Ends the running page; set by whoever serves it."""

    @property
    def ways(self) -> Literal["open", "fixed", "virtual"]:
        """Say what the page may offer."""
        kinds: dict[str, Literal["open", "fixed", "virtual"]] = {"none": "open", "virtual": "virtual", "port": "fixed"}
        return kinds[self.way]

    def ports(self) -> list[dict[str, Any]]:
        """Return the serial ports that the system knows."""
        from firmware_bridge.link import list_ports

        return [dataclasses.asdict(port) for port in list_ports()]

    def described(self) -> str | None:
        """Return the name of the rig that is described already."""
        try:
            return load_rig(self.folder.rig_file).name
        except (RigNotFound, BadRig):
            return None

    def choose(self, way: str, port: str, build: str | None, mount_rating_N: float | None) -> None:
        """Write the choice, and begin anew with it.

        Raises
        ------
        SetupFixed, BadInput, RigNotFound, BadRig
        """
        from monitor.dashboard.routes.setup import SetupFixed

        if self.way == "port":
            raise SetupFixed
        if way == "port":
            self._describe(port, build, mount_rating_N)
            self.port = port
        self.way = "port" if way == "port" else "virtual" if way == "virtual" else "none"
        self.renewed = True
        self.end()

    def _describe(self, port: str, build: str | None, mount_rating_N: float | None) -> None:
        from monitor.health.builds import BUILDS

        if not _is_port(port):
            raise BadInput(
                what=f"There is no port {port!r}.",
                means="No rig was chosen.",
                do="Plug the board in, and choose its port from the list.",
            )
        if build is None:
            load_rig(self.folder.rig_file)
        elif build not in BUILDS:
            raise BadInput(
                what=f"There is no build {build!r}.",
                means="No rig was chosen.",
                do=f"Choose one of {', '.join(BUILDS)}; docs/rig-description.md tells how to describe any other.",
            )
        elif self.folder.rig_file.exists() and self.described() is not None:
            raise BadInput(
                what="A rig is described already in the data folder.",
                means="Writing over it could make earlier work useless; no rig was chosen.",
                do=f"Keep it, or move {self.folder.rig_file.name} away first.",
            )
        else:
            rig = BUILDS[build]
            if rig.has_bar:
                rig = dataclasses.replace(rig, mount_rating_N=mount_rating_N)
            save_rig(self.folder.rig_file, rig)
        write_toml(self.path, {"port": port})

    def _kept_port(self) -> str:
        try:
            kept = tomllib.loads(self.path.read_text(encoding="utf-8")).get("port", "")
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
            return ""
        return kept if isinstance(kept, str) else ""


def _is_port(path: str) -> bool:
    try:
        return stat.S_ISCHR(os.stat(path).st_mode)
    except (OSError, ValueError):  # a name of which the system can make nothing
        return False


@dataclass
class _Opened:
    """What one round of the program reads."""

    folder: DataFolder
    source: Source
    rig: Rig | None = None
    calibration: Calibration | None = None
    recorder: Any = None
    practice: Practice | None = None


def run_chosen(folder: DataFolder, server_config: ServerConfig, page_port: int, end: ProgramEnd) -> None:
    """Serve the page with whatever rig is chosen, again and again while another one is chosen."""
    from monitor.cli.page_server import bound

    choice = RigChoice(folder)
    while True:
        choice.renewed = False
        place = bound(page_port, server_config.host)
        page_port = place.getsockname()[1]
        with ExitStack() as stack:
            _serve(stack, _opened(stack, choice), choice, server_config, place, end)
        if not choice.renewed or end.status:
            return


def _opened(stack: ExitStack, choice: RigChoice) -> _Opened:
    from firmware_bridge.link import LinkSource
    from monitor.store import DataFolder
    from monitor.store.files.session_recorder import SessionRecorder

    clock = HostClock()
    if choice.way == "none":
        return _Opened(choice.folder, NoRig(clock))
    practice: Practice | None = None
    if choice.way == "virtual":
        from firmware_bridge.virtual_board import VirtualBoard
        from monitor.demo.stage import Stage

        folder = DataFolder.open(choice.folder.root / VIRTUAL_FOLDER)
        stage = Stage(SEED)
        rig, practice = stage.rig, stage
        board = VirtualBoard(stage.conversions, channels=len(rig.channels), rate_Hz=rig.nominal_rate_Hz)
        port = stack.enter_context(board).port
    else:
        folder, port = choice.folder, choice.port
        rig = load_rig(folder.rig_file)
    recorder = SessionRecorder(clock)
    link = LinkSource(port, tap=recorder.tap, clock=clock)
    recorder.prologue = link.prologue
    return _Opened(folder, link, rig, calibration_or_none(folder, rig), recorder, practice)


def calibration_or_none(folder: DataFolder, rig: Rig) -> Calibration | None:
    """Return the newest calibration, None where the rig was never calibrated: the page then leads to it."""
    from monitor.newtons.calibration import CalibrationNotFound, latest_calibration

    try:
        return latest_calibration(folder.calibrations, rig.names)
    except CalibrationNotFound:
        return None


def _serve(
    stack: ExitStack, opened: _Opened, choice: RigChoice, server_config: ServerConfig, place: Any, end: ProgramEnd
) -> None:
    from monitor.cli.page_server import job_runner, serve_page
    from monitor.dashboard.live.hub import LiveHub
    from monitor.dashboard.routes.maintenance import Maintenance
    from monitor.service import MonitorService
    from monitor.store import open_store
    from monitor.store.files.storage import StorageKeeper

    folder = opened.folder
    stack.callback(opened.source.close)
    stack.enter_context(folder.held())
    store = stack.enter_context(open_store(folder.database))
    if opened.rig is None:
        # Said only now: a port or a folder that is taken ends the program before there is a page.
        sys.stdout.write("No rig is chosen yet: the page shows the first steps.\n")
    hub = LiveHub()
    service = MonitorService(
        source=opened.source,
        rig=opened.rig,
        calibration=opened.calibration,
        store=store,
        folder=folder,
        hub=hub,
        recorder=opened.recorder,
        practice=opened.practice,
    )
    # Passcodes are those of the data folder itself, whatever is practised below it.
    authorization = server_config.authorization(choice.folder, store.audit.add)
    keeper = stack.enter_context(StorageKeeper(store, folder))
    service.watchers.append(keeper.warnings)
    jobs = stack.enter_context(job_runner(folder, service, store))
    serve_page(
        service,
        hub,
        opened.rig,
        place,
        server_config=server_config,
        authorization=authorization,
        audit=store.audit.recent,
        jobs=jobs,
        maintenance=Maintenance(folder, store),
        end=end,
        setup=choice,
    )
