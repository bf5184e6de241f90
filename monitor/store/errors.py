"""Errors of the database, in words for people."""

from __future__ import annotations

from monitor.errors import MonitorError


class DatabaseNotOpened(MonitorError):
    """The database cannot be opened: no folder, no permission, no driver, a wrong address."""

    code = "database-not-opened"


class DatabaseNotOurs(MonitorError):
    """The file is no database of this program."""

    code = "database-not-ours"


class DatabaseNewer(MonitorError):
    """The database was written by a newer version of the program."""

    code = "database-newer"


class DatabaseNotWritten(MonitorError):
    """A write did not reach the disk; what was there before is unharmed."""

    code = "database-not-written"


class DatabaseNotRead(MonitorError):
    """A query failed: the disk was taken away, or the file is damaged."""

    code = "database-not-read"


class DatabaseClosed(MonitorError):
    """Something was asked of a store that has been closed."""

    code = "database-closed"


class UnknownSession(MonitorError):
    """A session that the store does not know."""

    code = "unknown-session"


class SessionExists(MonitorError):
    """A session of this name is kept already."""

    code = "session-exists"


class UnknownPerson(MonitorError):
    """A person that the store does not know."""

    code = "unknown-person"


class UnknownHold(MonitorError):
    """A hold that the store does not know, or that a correction has taken out of sight."""

    code = "unknown-hold"


class CorrectionNotPossible(MonitorError):
    """A correction that does not fit the hold: a split outside of it, a join of strangers, a kind that is none."""

    code = "correction-not-possible"


class UnknownCorrection(MonitorError):
    """A correction that is not there, or was undone already."""

    code = "unknown-correction"
