"""The rig description and the calibration that a source is read with."""

from __future__ import annotations

from pathlib import Path

from monitor.newtons.calibration import Calibration, CalibrationNotFound, latest_calibration, load_calibration
from monitor.rig import Rig, load_rig
from monitor.station.sources.rig_source import SourceConfig
from monitor.store import DataFolder


def calibration_in_force(
    folder: DataFolder | None, rig: Rig, given: Calibration | Path | None = None
) -> Calibration | None:
    """Return the given calibration, else the newest of a folder; None where the rig was never calibrated."""
    if isinstance(given, Calibration):
        return given
    if given is not None:
        return load_calibration(given, rig.names)
    if folder is None:
        return None
    try:
        return latest_calibration(folder.calibrations, rig.names)
    except CalibrationNotFound:
        return None


def rig_of(config: SourceConfig, folder: DataFolder | None) -> Rig:
    """Return the given rig, else that of the data folder."""
    if isinstance(config.rig, Rig):
        return config.rig
    if config.rig is not None:
        return load_rig(config.rig)
    return load_rig(folder.rig_file if folder is not None else "rig.toml")


def calibration_of(config: SourceConfig, folder: DataFolder | None, rig: Rig) -> Calibration | None:
    """Return the calibration in force, None for a rig that is only about to be calibrated."""
    return calibration_in_force(folder, rig, config.calibration) if config.is_calibrated else None
