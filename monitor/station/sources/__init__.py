"""Where readings come from, each kind with the rig that it belongs to: ``kinds`` lists them."""

from monitor.station.sources.kinds import SOURCE_KINDS, open_source
from monitor.station.sources.rig_files import calibration_in_force
from monitor.station.sources.rig_source import RigSource, SourceConfig, VirtualRig, recorded_link
from monitor.station.sources.virtual_board import check_practice_folder

__all__ = [
    "SOURCE_KINDS",
    "RigSource",
    "SourceConfig",
    "VirtualRig",
    "calibration_in_force",
    "check_practice_folder",
    "open_source",
    "recorded_link",
]
