"""Journals on disk, for whoever has to take some of them away."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

from firmware_bridge.journal import PACKED
from monitor.errors import MonitorError
from monitor.store.files.folder import DataFolder


class JournalNotErased(MonitorError):
    """A journal that is to be erased cannot be."""

    code = "journal-not-erased"


def files_of(folder: DataFolder, place: str) -> list[Path]:
    """Return the files of a session's journal that are there: itself, packed, and torn tails kept beside it.

    Raises
    ------
    ValueError
        The place leads out of the data folder.
    """
    folder.journal(place)
    path = folder.root / place
    files = [path, path.with_name(path.name + PACKED), *sorted(path.parent.glob(f"{path.name}.torn-*"))]
    return [file for file in files if file.is_file()]


def erase_journals(folder: DataFolder, places: Iterable[str]) -> list[str]:
    """Delete journals with the torn tails that were kept beside them; return the names of the files that are gone.

    The files are overwritten first, as far as the disk lets itself be overwritten; folders that are left empty go.

    Parameters
    ----------
    places : iterable of str
        Relative to the data folder, as kept with the session. One that is not there is skipped.

    Raises
    ------
    JournalNotErased
        Those before it are gone.
    """
    gone = []
    for place in places:
        for file in files_of(folder, place):
            try:
                with file.open("r+b") as content:
                    content.write(b"\0" * file.stat().st_size)
                    content.flush()
                    os.fsync(content.fileno())
                file.unlink()
            except OSError as error:
                raise JournalNotErased(
                    what=f"The journal {file} cannot be erased: {error.strerror or error}.",
                    means="It is still there, and the database was not touched yet.",
                    do="Mend the permissions of its folder and erase the person again.",
                ) from error
            gone.append(str(file.relative_to(folder.root)))
        path = folder.root / place
        for parent in (path.parent, path.parent.parent):
            if parent not in (folder.root, folder.journals):
                with contextlib.suppress(OSError):
                    parent.rmdir()
    return gone
