"""A journal played again, with the rig of its own note or a given one."""

from __future__ import annotations

from contextlib import ExitStack

from firmware_bridge.sources import HostClock, JournalSource
from monitor.analysis import rig_of_journal
from monitor.newtons.calibration import latest_calibration
from monitor.station.sources.rig_files import calibration_in_force, rig_of
from monitor.station.sources.rig_source import RigSource, SourceConfig
from monitor.store import DataFolder


def journal_replay(config: SourceConfig, folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    """Open the journal; nothing of it is recorded again."""
    assert config.journal is not None
    clock = HostClock()
    source = JournalSource(config.journal, config.speed, clock=clock)
    if config.rig is None:
        return RigSource(source, clock, *rig_of_journal(config.journal))
    rig = rig_of(config, folder)
    if config.calibration is None and folder is not None:
        # A recording cannot be calibrated on the page: without a calibration it is refused.
        return RigSource(source, clock, rig, latest_calibration(folder.calibrations, rig.names))
    return RigSource(source, clock, rig, calibration_in_force(folder, rig, config.calibration))
