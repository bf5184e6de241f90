"""``hang-monitor demo`` and ``hang-monitor run``: the live monitor on a virtual rig or a real one."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from monitor.cli.option_groups import PageOptions, ReplayOptions, RigOptions, takes_option_groups
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput
from monitor.station.server_config import PAGE_PORT, ServerConfig

DEMO_FOLDER = "demo"


class LogLevel(StrEnum):
    """How much the log holds."""

    DEBUG = "debug"
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


LogLevelOption = Annotated[LogLevel, typer.Option(help="How much the log in the data folder holds.")]


@reports_errors
def demo(
    page_port: int = typer.Option(PAGE_PORT, help="Port of the live page on this machine; 0: any free one."),
    data: Path | None = typer.Option(None, help="Data folder; a demo folder of its own if left out."),
    speed: float = typer.Option(1.0, help="Times as fast as life.", min=0.1, max=60.0),
    seed: int = typer.Option(1, help="Another number, another story.", min=0),
    sessions: int | None = typer.Option(None, help="End the story after so many people; endless if left out.", min=1),
    log_level: LogLevelOption = LogLevel.INFO,
) -> None:
    """Show the monitor without any hardware: invented people hang on a virtual rig.

    A board in software speaks the real wire protocol through a pseudo-terminal; everything behind it is the real
    monitor. All people and numbers are invented.
    """
    from monitor.cli.logging_setup import begin_log
    from monitor.demo import DemoRig
    from monitor.demo.stage import Stage
    from monitor.station.sources import SourceConfig, check_practice_folder
    from monitor.station.station import Station, StationConfig, run_station
    from monitor.store import DataFolder

    folder = DataFolder.open(data if data is not None else DataFolder.open().root / DEMO_FOLDER)
    check_practice_folder(folder)  # before the log: not a file may appear there
    begin_log(folder.root, log_level)
    invented = DemoRig(seed, sessions=sessions)
    stage = Stage(seed, invented)
    source = SourceConfig("virtual", virtual=stage, practice=stage, calibration=invented.calibration, speed=speed)

    def greeting(station: Station) -> str:
        return (
            f"Demonstration with invented people on a virtual rig ({station.rig_source.port}).\n"
            f"Load curves are kept in {folder.root}\n"
        )

    run_station(StationConfig(source, folder, ServerConfig(port=page_port)), greeting=greeting)


@reports_errors
@takes_option_groups
def run(
    rig: RigOptions,
    page: PageOptions,
    replay: ReplayOptions,
    wait: bool = typer.Option(False, "--wait", help="Start although the board is not plugged in yet, and wait for it."),
    may_switch_off: bool = typer.Option(
        False,
        "--may-switch-off",
        help="A service manager switches the machine off after exit status 85 and starts the program again after 86: "
        "owners get buttons for both.",
    ),
    log_level: LogLevelOption = LogLevel.INFO,
) -> None:
    """Run the monitor on a rig: read the board, time and measure holds by itself, show them on the live page.

    Without --port the page lets you choose a rig: one of your own at its port, or a virtual one.

    A replay shows a journal as if it happened now, and keeps what it measures like a live recording.
    """
    from monitor.cli.logging_setup import begin_log
    from monitor.dashboard.routes.power import ProgramEnd
    from monitor.station.chosen_station import run_chosen
    from monitor.station.sources import SourceConfig
    from monitor.station.station import StationConfig, run_station
    from monitor.store import DataFolder

    _check_source(rig, replay)
    server = page.server_config()
    folder = DataFolder.open(rig.data)
    begin_log(folder.root, log_level)
    end = ProgramEnd(is_service=may_switch_off)
    if rig.port is None and replay.replay is None:
        run_chosen(folder, server, end)
    else:
        source = SourceConfig(
            "port" if rig.port is not None else "replay",
            port=rig.port or "",
            wait_for_board=wait,
            journal=replay.replay,
            rig=rig.rig,
            calibration=rig.calibration,
            speed=replay.speed,
        )
        run_station(StationConfig(source, folder, server), end=end)
    if end.status:
        raise typer.Exit(end.status)


def _check_source(rig: RigOptions, replay: ReplayOptions) -> None:
    """Raise ``BadInput`` where the options do not say in one way where readings come from."""
    if rig.port is not None and replay.replay is not None:
        raise BadInput(
            what="A port and a replay are both given.",
            means="It is not clear where readings are to come from; nothing was started.",
            do="Give --port (hang-monitor ports lists them), or --replay with a journal.",
        )
    if rig.port is None and replay.replay is None and (rig.rig is not None or rig.calibration is not None):
        raise BadInput(
            what="A rig or a calibration is given, but no port.",
            means="It is not clear where readings are to come from; nothing was started.",
            do="Give --port as well (hang-monitor ports lists them), or nothing of these to choose on the page.",
        )
