"""Errors that tell a person what happened, what it means and what to do."""

from __future__ import annotations

from typing import ClassVar


class TellableError(Exception):
    """A mistake of the caller or a problem in the environment, described in three sentences.

    The same triple reaches terminal, log, JSON and screen. Every subclass sets ``code``, a short stable name that
    ``docs/errors.md`` explains.

    Parameters
    ----------
    what : str
        What happened.
    means : str
        What it means for the measurement.
    do : str
        What to do next.
    """

    code: ClassVar[str] = "error"

    def __init__(self, what: str, means: str, do: str) -> None:
        super().__init__(what)
        self.what = what
        self.means = means
        self.do = do

    def __str__(self) -> str:
        return f"{self.what} {self.means} {self.do}"

    def as_dict(self) -> dict[str, str]:
        """Return the error as plain data with the keys ``code``, ``what``, ``means`` and ``do``."""
        return {"code": self.code, "what": self.what, "means": self.means, "do": self.do}


class BridgeError(TellableError):
    """Base class of the bridge's errors."""

    code = "bridge"


class PortNotFound(BridgeError):
    """There is no such port."""

    code = "port-not-found"


class PortInUse(BridgeError):
    """Another program has the port."""

    code = "port-in-use"


class PortNotPermitted(BridgeError):
    """The user may not open the port."""

    code = "port-not-permitted"


class PortNotOpened(BridgeError):
    """The system refuses to open the port for another reason, or it is no serial port."""

    code = "port-not-opened"


class JournalExists(BridgeError):
    """A journal would be written over an existing file."""

    code = "journal-exists"


class JournalNotFound(BridgeError):
    """There is no such journal, or it cannot be read."""

    code = "journal-not-found"


class NotAJournal(BridgeError):
    """The file holds no frame and no line of the protocol."""

    code = "not-a-journal"


class JournalNotWritten(BridgeError):
    """The journal could not be written: disk full, folder gone, no permission."""

    code = "journal-not-written"


class NoteTooLong(BridgeError):
    """A note for the journal does not fit into its frame or is no JSON."""

    code = "note-too-long"


class VirtualBoardMisused(BridgeError):
    """The virtual board was asked to do something that no board can do."""

    code = "virtual-board-misused"
