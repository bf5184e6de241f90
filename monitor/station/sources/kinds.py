"""The kinds of sources that readings come from: one factory each."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

from monitor.errors import BadInput
from monitor.station.sources.journal_replay import journal_replay
from monitor.station.sources.no_rig import no_rig
from monitor.station.sources.rig_source import RigSource, SourceConfig, SourceFactory
from monitor.station.sources.serial_port import serial_port
from monitor.station.sources.virtual_board import virtual_board
from monitor.store import DataFolder

SOURCE_KINDS: dict[str, SourceFactory] = {
    "port": serial_port,
    "virtual": virtual_board,
    "replay": journal_replay,
    "none": no_rig,
}


@contextmanager
def open_source(config: SourceConfig, folder: DataFolder | None) -> Iterator[RigSource]:
    """Open a source of any kind; it is closed when the context ends.

    Parameters
    ----------
    config : SourceConfig
    folder : DataFolder or None
        Where rig description and calibrations are, unless the configuration names files.

    Raises
    ------
    BadInput
        For an unknown kind; besides, what the kind itself raises (``PortNotFound``, ``RigNotFound``, ...).
    """
    factory = SOURCE_KINDS.get(config.kind)
    if factory is None:
        raise BadInput(
            what=f"There is no source of readings called {config.kind!r}.",
            means="Nothing was started.",
            do=f"Use one of {', '.join(SOURCE_KINDS)}.",
        )
    with ExitStack() as stack:
        opened = factory(config, folder, stack)
        stack.callback(opened.source.close)
        yield opened
