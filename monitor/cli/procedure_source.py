"""What the guided commands (check, zero, calibrate) read from: a port, or a virtual rig that practises with them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.rig import Rig
    from monitor.store import DataFolder


def require_one_source(port: str | None, virtual: bool) -> None:
    """Check that exactly one rig is meant.

    Raises
    ------
    BadInput
    """
    if (port is not None) == virtual:
        raise BadInput(
            what="It is not clear which rig is meant.",
            means="Nothing was measured.",
            do="Give either --port (hang-monitor ports lists them) or --virtual.",
        )


def procedure_folder(data: Path | None, virtual: bool) -> DataFolder | None:
    """Return the data folder; None for a practice that nobody asked to be saved."""
    from monitor.store import DataFolder

    if virtual and data is None:
        return None
    return DataFolder.open(data)


def procedure_rig(folder: DataFolder | None, file: Path | None, virtual: bool) -> Rig:
    """Return the rig of a file, else of the data folder, else the demo's for a practice, which is always invented."""
    from monitor.demo import demo_rig
    from monitor.rig import load_rig

    if file is not None:
        rig = load_rig(file)
    elif folder is not None and (not virtual or folder.rig_file.exists()):
        rig = load_rig(folder.rig_file)
    else:
        rig = demo_rig()
    return replace(rig, invented=True) if virtual else rig
