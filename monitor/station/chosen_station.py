"""``hang-monitor run`` without a rig: an owner chooses one on the page, and the program starts anew with it."""

from __future__ import annotations

import dataclasses

from monitor.dashboard.routes.power import ProgramEnd
from monitor.demo.stage import Stage
from monitor.station.rig_choice import RigChoice
from monitor.station.server_config import ServerConfig
from monitor.station.sources import SourceConfig
from monitor.station.station import Station, StationConfig, run_station
from monitor.store import DataFolder

VIRTUAL_FOLDER = "virtual"
"""Below the data folder: invented data stay apart from measured ones."""

SEED = 1


def run_chosen(folder: DataFolder, server: ServerConfig, end: ProgramEnd) -> None:
    """Run the program on the chosen rig, again and again while another one is chosen."""
    choice = RigChoice(folder)
    while True:
        choice.renewed = False
        port = run_station(station_config(choice, server), end=end, choice=choice, greeting=_greeting)
        if not choice.renewed or end.status:
            return
        server = dataclasses.replace(server, port=port)


def station_config(choice: RigChoice, server: ServerConfig) -> StationConfig:
    """Return the program for the rig that is chosen now; passcodes are always those of the data folder itself."""
    folder, source = choice.folder, SourceConfig(choice.way)
    if choice.way == "port":
        source = SourceConfig("port", port=choice.port, wait_for_board=True)
    elif choice.way == "virtual":
        stage = Stage(SEED)
        folder = DataFolder.open(folder.root / VIRTUAL_FOLDER)
        source = SourceConfig("virtual", virtual=stage, practice=stage)
    return StationConfig(source, folder, server, passcodes=choice.folder)


def _greeting(station: Station) -> str:
    if station.rig_source.rig is None:
        return "No rig is chosen yet: the page shows the first steps.\n"
    return ""
