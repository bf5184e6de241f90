"""Where everything lies on disk: one folder, readable by its owner only."""

from __future__ import annotations

import contextlib
import datetime as dt
import fcntl
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from platformdirs import user_data_dir

from firmware_bridge.journal import PACKED
from monitor.errors import MonitorError


class DataFolderNotUsable(MonitorError):
    """The data folder cannot be made, or this user may not write there."""

    code = "data-folder-not-usable"


class FolderInUse(MonitorError):
    """Another program works on the data folder."""

    code = "folder-in-use"


def default_folder() -> Path:
    """Return the folder that the operating system provides for a user's data of this program."""
    return Path(user_data_dir("hang-monitor", appauthor=False))


def new_session_uid(started_utc_ns: int) -> str:
    """Return a name for a session that sorts by time, is fit for a file name and is never given twice."""
    return f"{_utc(started_utc_ns):%Y%m%dT%H%M%SZ}-{secrets.token_hex(4)}"


def hold_uid(session_uid: str, number: int) -> str:
    """Return the stable name of a session's hold; ``number`` counts from 1."""
    return f"{session_uid}-{number:03d}"


def journal_place(session_uid: str, started_utc_ns: int) -> PurePosixPath:
    """Return the place of a session's journal in the data folder: ``journals/YYYY/MM/<session uid>.journal``."""
    return PurePosixPath("journals") / f"{_utc(started_utc_ns):%Y/%m}" / f"{session_uid}.journal"


@dataclass(frozen=True, slots=True)
class DataFolder:
    """The data folder's layout. Folders are made with mode 0700, files with 0600: bodies are private.

    ============================================  =========================================
    ``hang-monitor.sqlite``                       sessions, holds, settings
    ``journals/YYYY/MM/<session uid>.journal``       raw frames as they were received; ``.gz`` once packed
    ``.in-use``                                   locked by the program that works on the folder
    ``rig.toml``                                  the rig's description
    ``calibrations/``                             dated zeros and spans
    ``access.json``                               passcodes (hashed), devices that are signed in
    ============================================  =========================================
    """

    root: Path

    @classmethod
    def open(cls, root: str | os.PathLike[str] | None = None) -> DataFolder:
        """Make the folder where it is missing and return it.

        Parameters
        ----------
        root : path, optional
            ``default_folder()`` where it is not given.

        Raises
        ------
        DataFolderNotUsable
        """
        folder = cls(default_folder() if root is None else Path(root).expanduser())
        try:
            for place in (folder.root, folder.journals, folder.calibrations):
                private_folder(place)
        except OSError as error:
            raise _not_usable(folder.root, error) from error
        if not os.access(folder.root, os.R_OK | os.W_OK | os.X_OK):
            raise _not_usable(folder.root, PermissionError(13, "Permission denied"))
        return folder

    @property
    def database(self) -> Path:
        """Return the path of the SQLite database."""
        return self.root / "hang-monitor.sqlite"

    @property
    def rig_file(self) -> Path:
        """Return the path of the rig's description."""
        return self.root / "rig.toml"

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Keep other programs from working on the folder at the same time; a killed program holds nothing.

        Raises
        ------
        FolderInUse, DataFolderNotUsable
        """
        try:
            handle = os.open(self.root / ".in-use", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise _not_usable(self.root, error) from error
        try:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                raise FolderInUse(
                    what=f"Another program works on {self.root}.",
                    means="Two at once would get into each other's way; nothing was started and nothing changed.",
                    do="End the running monitor first (a service: systemctl stop hang-monitor), or give other --data.",
                ) from error
            yield
        finally:
            os.close(handle)

    @property
    def access_file(self) -> Path:
        """Return the path of the file of passcodes and signed-in devices."""
        return self.root / "access.json"

    @property
    def journals(self) -> Path:
        """Return the folder of the journals."""
        return self.root / "journals"

    @property
    def calibrations(self) -> Path:
        """Return the folder of the calibrations."""
        return self.root / "calibrations"

    def journal(self, place: str | PurePosixPath) -> Path:
        """Return a journal's full path from its place as stored with the session; the packed one if only that exists.

        Raises
        ------
        ValueError
            The place leads out of the data folder.
        """
        parts = PurePosixPath(place)
        if parts.is_absolute() or ".." in parts.parts:
            raise ValueError(f"{place} leads out of the data folder; give a place relative to it.")
        path = self.root / parts
        packed = path.with_name(path.name + PACKED)
        return packed if not path.exists() and packed.exists() else path

    def new_journal(self, session_uid: str, started_utc_ns: int) -> Path:
        """Return the full path for a new session's journal after making the folder for it.

        Raises
        ------
        DataFolderNotUsable
        """
        path = self.journal(journal_place(session_uid, started_utc_ns))
        try:
            private_folder(path.parent.parent)
            private_folder(path.parent)
        except OSError as error:
            raise _not_usable(self.root, error) from error
        return path


def private_folder(path: Path) -> None:
    """Make a folder, and its parents, that only its owner may enter; one that exists is left as it is."""
    if not path.parent.exists():
        private_folder(path.parent)
    path.mkdir(exist_ok=True, mode=0o700)


def private_file(path: Path) -> None:
    """Make an empty file that only its owner may read; one that exists is left as it is."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _utc(utc_ns: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(utc_ns // 1_000_000_000, dt.UTC)


def _not_usable(root: Path, error: OSError) -> DataFolderNotUsable:
    return DataFolderNotUsable(
        what=f"The data folder {root} cannot be used: {error.strerror or error}.",
        means="Holds and their raw curves would have nowhere to go, so nothing is recorded.",
        do="Give a folder of your own that can be written to, or mend its permissions.",
    )
