"""``hang-monitor demo`` and ``hang-monitor run``: the live monitor on a virtual rig or a real one."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.practice_folder import keep_apart
from monitor.cli.server_config import LOOPBACK, ServerConfig
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.newtons.calibration import Calibration
    from monitor.rig import Rig
    from monitor.store import DataFolder

PAGE_PORT = 8064
DEMO_FOLDER = "demo"


class LogLevel(StrEnum):
    """How much the log tells."""

    DEBUG = "debug"
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


LOG_LEVEL = typer.Option(LogLevel.INFO, help="How much the log in the data folder tells.")


@reports_errors
def demo(
    page_port: int = typer.Option(PAGE_PORT, help="Port of the live page on this machine; 0: any free one."),
    data: Path | None = typer.Option(None, help="Data folder; a demo folder of its own if left out."),
    speed: float = typer.Option(1.0, help="Times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="Another number, another story.", min=0),
    sessions: int | None = typer.Option(None, help="End the story after so many people; endless if left out.", min=1),
    log_level: LogLevel = LOG_LEVEL,
) -> None:
    """Show the monitor without any hardware: invented people hang on a virtual rig.

    A board in software speaks the real wire protocol through a pseudo-terminal; everything behind it is the real
    monitor. All people and numbers are invented.
    """
    from firmware_bridge.link import LinkSource
    from firmware_bridge.sources import HostClock
    from firmware_bridge.virtual_board import VirtualBoard
    from monitor.cli.logging_setup import begin_log
    from monitor.cli.page_server import bound, job_runner, serve_page
    from monitor.dashboard.live.hub import LiveHub
    from monitor.dashboard.routes.maintenance import Maintenance
    from monitor.demo import DemoRig
    from monitor.demo.stage import Stage
    from monitor.service import MonitorService
    from monitor.store import DataFolder, open_store
    from monitor.store.files.session_recorder import SessionRecorder

    folder = DataFolder.open(data if data is not None else DataFolder.open().root / DEMO_FOLDER)
    keep_apart(folder)
    begin_log(folder.root, log_level)
    place = bound(page_port)
    invented = DemoRig(seed, sessions=sessions)
    clock = HostClock(speed)
    with folder.held(), open_store(folder.database) as store:
        stage = Stage(seed, invented)
        board = VirtualBoard(
            stage.conversions, channels=len(invented.rig.channels), rate_Hz=invented.rig.nominal_rate_Hz, speed=speed
        )
        with board:
            recorder = SessionRecorder(clock)
            link = LinkSource(board.port, tap=recorder.tap, clock=clock)
            recorder.prologue = link.prologue
            hub = LiveHub()
            service = MonitorService(
                source=link,
                rig=invented.rig,
                calibration=invented.calibration,
                store=store,
                folder=folder,
                hub=hub,
                clock=clock,
                recorder=recorder,
                practice=stage,
            )
            sys.stdout.write(
                f"Demonstration with invented people on a virtual rig ({board.port}).\nLoad curves are kept in "
                f"{folder.root}\n"
            )
            sys.stdout.flush()
            server_config = ServerConfig()
            authorization = server_config.authorization(folder, store.audit.add)
            with job_runner(folder, service, store) as jobs:
                serve_page(
                    service,
                    hub,
                    invented.rig,
                    place,
                    server_config=server_config,
                    authorization=authorization,
                    audit=store.audit.recent,
                    jobs=jobs,
                    maintenance=Maintenance(folder, store),
                )


@reports_errors
def run(
    port: str | None = typer.Option(None, help="Serial port of the converter board, as hang-monitor ports lists it."),
    rig: Path | None = typer.Option(None, help="Rig description; rig.toml of the data folder if left out."),
    calibration: Path | None = typer.Option(None, help="Calibration; the data folder's newest if left out."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
    page_port: int = typer.Option(PAGE_PORT, help="Port of the live page on this machine; 0: any free one."),
    host: str = typer.Option(
        LOOPBACK,
        help="Address to serve the page at; beyond this machine only once somebody has a passcode "
        "(hang-monitor passcode).",
        metavar="ADDRESS",
    ),
    name: list[str] = typer.Option(
        [], help="Name under which browsers may ask for the page; may be repeated.", metavar="NAME"
    ),
    behind_proxy: bool = typer.Option(
        False, "--behind-proxy", help="A proxy on this machine passes requests on, under --name and by TLS."
    ),
    certificate: Path | None = typer.Option(None, help="Certificate (PEM) for TLS.", metavar="FILE"),
    key: Path | None = typer.Option(None, help="The certificate's key (PEM).", metavar="FILE"),
    replay: Path | None = typer.Option(None, help="Replay a journal instead of reading a port.", metavar="JOURNAL"),
    speed: float = typer.Option(1.0, help="Replay so many times as fast.", min=0.1, max=1000.0),
    wait: bool = typer.Option(False, "--wait", help="Start although the board is not plugged in yet, and wait for it."),
    may_switch_off: bool = typer.Option(
        False,
        "--may-switch-off",
        help="A service manager switches the machine off after exit status 85 and starts the program again after 86: "
        "owners get buttons for both.",
    ),
    log_level: LogLevel = LOG_LEVEL,
) -> None:
    """Run the monitor on a rig: read the board, time and measure holds by itself, show them on the live page.

    Without --port the page lets you choose a rig: one of your own at its port, or a virtual one.

    A replay shows a journal as if it happened now, and keeps what it measures like a live recording.
    """
    from firmware_bridge.sources import HostClock, JournalSource, Source
    from monitor.cli.logging_setup import begin_log
    from monitor.cli.page_server import bound, job_runner, serve_page
    from monitor.dashboard.live.hub import LiveHub
    from monitor.dashboard.routes.maintenance import Maintenance
    from monitor.dashboard.routes.power import ProgramEnd
    from monitor.service import MonitorService
    from monitor.store import DataFolder, open_store
    from monitor.store.files.session_recorder import SessionRecorder
    from monitor.store.files.storage import StorageKeeper

    if port is not None and replay is not None:
        raise BadInput(
            what="A port and a replay are both given.",
            means="It is not clear where readings are to come from; nothing was started.",
            do="Give --port (hang-monitor ports lists them), or --replay with a journal.",
        )
    server_config = ServerConfig.checked(host, name, behind_proxy, certificate, key)
    folder = DataFolder.open(data)
    begin_log(folder.root, log_level)
    server_config.check_passcodes(folder)
    if port is None and replay is None:
        if rig is not None or calibration is not None:
            raise BadInput(
                what="A rig or a calibration is given, but no port.",
                means="It is not clear where readings are to come from; nothing was started.",
                do="Give --port as well (hang-monitor ports lists them), or nothing of these to choose on the page.",
            )
        from monitor.cli.rig_choice import run_chosen

        end = ProgramEnd(is_service=may_switch_off)
        run_chosen(folder, server_config, page_port, end)
        if end.status:
            raise typer.Exit(end.status)
        return
    source: Source
    recorder: SessionRecorder | None = None
    in_force: Calibration | None
    clock = HostClock()
    if replay is not None:
        source = JournalSource(replay, speed, clock=clock)
        description, in_force = (
            _rig_of_journal(replay) if rig is None else _rig_and_calibration(folder, rig, calibration)
        )
    else:
        from firmware_bridge.link import LinkSource

        description, in_force = _rig_as_it_is(folder, rig, calibration)
        recorder = SessionRecorder(clock)
        link = LinkSource(port or "", tap=recorder.tap, clock=clock)
        recorder.prologue = link.prologue
        if not wait:
            link.open_now()
        source = link
    place = bound(page_port, server_config.host)
    end = ProgramEnd(is_service=may_switch_off)
    try:
        with ExitStack() as stack:
            stack.enter_context(folder.held())
            store = stack.enter_context(open_store(folder.database))
            hub = LiveHub()
            service = MonitorService(
                source=source,
                rig=description,
                calibration=in_force,
                store=store,
                folder=folder,
                hub=hub,
                clock=clock,
                recorder=recorder,
            )
            authorization = server_config.authorization(folder, store.audit.add)
            keeper = stack.enter_context(StorageKeeper(store, folder))
            service.watchers.append(keeper.warnings)
            jobs = stack.enter_context(job_runner(folder, service, store))
            serve_page(
                service,
                hub,
                description,
                place,
                server_config=server_config,
                authorization=authorization,
                audit=store.audit.recent,
                jobs=jobs,
                maintenance=Maintenance(folder, store),
                end=end,
            )
    finally:
        source.close()
    if end.status:
        raise typer.Exit(end.status)


def _rig_and_calibration(folder: DataFolder, rig: Path | None, calibration: Path | None) -> tuple[Rig, Calibration]:
    """Return the given files, or the data folder's own."""
    from monitor.newtons.calibration import latest_calibration, load_calibration
    from monitor.rig import load_rig

    description = load_rig(rig if rig is not None else folder.rig_file)
    if calibration is not None:
        return description, load_calibration(calibration, description.names)
    return description, latest_calibration(folder.calibrations, description.names)


def _rig_as_it_is(folder: DataFolder, rig: Path | None, calibration: Path | None) -> tuple[Rig, Calibration | None]:
    """Return the same; a rig that was never calibrated is calibrated on the page."""
    from monitor.cli.rig_choice import calibration_or_none
    from monitor.rig import load_rig

    if calibration is not None:
        return _rig_and_calibration(folder, rig, calibration)
    description = load_rig(rig if rig is not None else folder.rig_file)
    return description, calibration_or_none(folder, description)


def _rig_of_journal(path: Path) -> tuple[Rig, Calibration]:
    """Return the rig and the calibration that a journal carries in its own note."""
    from monitor.analysis import rig_of_journal

    return rig_of_journal(path)
