"""A virtual board behind a pseudo-terminal, with a rig in software."""

from __future__ import annotations

from contextlib import ExitStack

from firmware_bridge.sources import HostClock
from firmware_bridge.virtual_board import VirtualBoard
from monitor.errors import BadInput
from monitor.rig import RigNotFound, load_rig
from monitor.station.sources.rig_files import calibration_of
from monitor.station.sources.rig_source import RigSource, SourceConfig, recorded_link
from monitor.store import DataFolder


def check_practice_folder(folder: DataFolder) -> None:
    """Refuse a data folder that belongs to a real rig: results of a virtual one would pass for its own.

    Raises
    ------
    BadInput
    """
    try:
        is_real = not load_rig(folder.rig_file).invented
    except RigNotFound:
        return
    if is_real:
        raise BadInput(
            what=f"{folder.rig_file} describes a real rig, and a practice is invented.",
            means="People would be weighed by an invented calibration, or an invented check would stand among the "
            "rig's own; nothing was started.",
            do="Give --data a folder of its own, or leave --data out: then nothing is saved.",
        )


def virtual_board(config: SourceConfig, folder: DataFolder | None, stack: ExitStack) -> RigSource:
    """Start the board; a folder that belongs to a real rig is refused."""
    assert config.virtual is not None
    if folder is not None:
        check_practice_folder(folder)
    rig = config.virtual.rig
    board = VirtualBoard(
        config.virtual.conversions, channels=len(rig.channels), rate_Hz=rig.nominal_rate_Hz, speed=config.speed
    )
    calibration = calibration_of(config, folder, rig)
    stack.enter_context(board)
    return recorded_link(board.port, rig, calibration, clock=HostClock(config.speed), practice=config.practice)
