"""Schema and migrations, one writer, queries; the data folder's layout."""

from __future__ import annotations

from monitor.store.errors import (
    CorrectionNotPossible,
    DatabaseClosed,
    DatabaseNewer,
    DatabaseNotOpened,
    DatabaseNotOurs,
    DatabaseNotRead,
    DatabaseNotWritten,
    SessionExists,
    UnknownCorrection,
    UnknownHold,
    UnknownPerson,
    UnknownSession,
)
from monitor.store.files.access import AccessFile
from monitor.store.files.folder import DataFolder, DataFolderNotUsable, hold_uid, journal_place, new_session_uid
from monitor.store.holds.corrected_holds import CorrectedHolds, corrected_holds
from monitor.store.holds.markers import UnknownMarker
from monitor.store.holds.search import HoldFilter, HoldOrder
from monitor.store.store import Store, open_store

__all__ = [
    "AccessFile",
    "CorrectedHolds",
    "CorrectionNotPossible",
    "DataFolder",
    "DataFolderNotUsable",
    "DatabaseClosed",
    "DatabaseNewer",
    "DatabaseNotOpened",
    "DatabaseNotOurs",
    "DatabaseNotRead",
    "DatabaseNotWritten",
    "HoldFilter",
    "HoldOrder",
    "SessionExists",
    "Store",
    "UnknownCorrection",
    "UnknownHold",
    "UnknownMarker",
    "UnknownPerson",
    "UnknownSession",
    "corrected_holds",
    "hold_uid",
    "journal_place",
    "new_session_uid",
    "open_store",
]
