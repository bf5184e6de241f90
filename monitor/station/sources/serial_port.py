"""A converter board on a serial port."""

from __future__ import annotations

from contextlib import ExitStack

from firmware_bridge.link import LinkSource
from monitor.station.sources.rig_files import calibration_of, rig_of
from monitor.station.sources.rig_source import RigSource, SourceConfig, recorded_link
from monitor.store import DataFolder


def serial_port(config: SourceConfig, folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    """Open the port, unless the board is waited for."""
    rig = rig_of(config, folder)
    rig_source = recorded_link(config.port, rig, calibration_of(config, folder, rig))
    if not config.wait_for_board and isinstance(rig_source.source, LinkSource):
        rig_source.source.open_now()
    return rig_source
