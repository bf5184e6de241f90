"""Practice on a virtual rig stays apart from real rigs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.store import DataFolder


def keep_apart(folder: DataFolder) -> None:
    """Refuse a data folder in which a real rig would take a practice for its own.

    Raises
    ------
    BadInput
    """
    from monitor.rig import RigNotFound, load_rig

    try:
        real = not load_rig(folder.rig_file).invented
    except RigNotFound:
        return
    if real:
        raise BadInput(
            what=f"{folder.rig_file} describes a real rig, and a practice is invented.",
            means="People would be weighed by it, or a check that never was would stand among the rig's own; nothing "
            "was begun.",
            do="Give --data a folder of its own, or leave --data out: then nothing is saved.",
        )
