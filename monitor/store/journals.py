"""Journals on disk, for whoever has to take some of them away."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable

from monitor.errors import MonitorError
from monitor.store.folder import DataFolder


class JournalNotErased(MonitorError):
    """A journal that is to be erased cannot be."""

    code = "journal-not-erased"


def erase_journals(folder: DataFolder, places: Iterable[str]) -> list[str]:
    """Delete journals with the torn tails that were kept beside them; return the names of the files that are gone.

    The files are overwritten first, as far as the disk lets itself be overwritten; folders that are left empty go.

    Parameters
    ----------
    places : iterable of str
        Relative to the data folder, as kept with the stay. One that is not there is skipped.

    Raises
    ------
    JournalNotErased
        Those before it are gone.
    """
    gone = []
    for place in places:
        path = folder.journal(place)
        for file in sorted([path, *path.parent.glob(f"{path.name}.torn-*")]):
            if not file.exists():
                continue
            try:
                with file.open("r+b") as content:
                    content.write(b"\0" * file.stat().st_size)
                    content.flush()
                    os.fsync(content.fileno())
                file.unlink()
            except OSError as error:
                raise JournalNotErased(
                    what=f"The journal {file} cannot be erased: {error.strerror or error}.",
                    means="The database no longer knows whose it was, but the load curve is still on the disk.",
                    do="Delete the file by hand.",
                ) from error
            gone.append(str(file.relative_to(folder.root)))
        for parent in (path.parent, path.parent.parent):
            if parent not in (folder.root, folder.journals):
                with contextlib.suppress(OSError):
                    parent.rmdir()
    return gone
