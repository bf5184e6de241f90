"""Schema and migrations, one writer, queries; the data folder's layout."""

from __future__ import annotations

from monitor.store.errors import (
    DatabaseClosed,
    DatabaseNewer,
    DatabaseNotOpened,
    DatabaseNotOurs,
    DatabaseNotRead,
    DatabaseNotWritten,
    StayExists,
    UnknownStay,
)
from monitor.store.folder import DataFolder, DataFolderNotUsable, hold_uid, journal_place, new_stay_uid
from monitor.store.rows import StoredHold, StoredStay
from monitor.store.store import Store, open_store

__all__ = [
    "DataFolder",
    "DataFolderNotUsable",
    "DatabaseClosed",
    "DatabaseNewer",
    "DatabaseNotOpened",
    "DatabaseNotOurs",
    "DatabaseNotRead",
    "DatabaseNotWritten",
    "StayExists",
    "Store",
    "StoredHold",
    "StoredStay",
    "UnknownStay",
    "hold_uid",
    "journal_place",
    "new_stay_uid",
    "open_store",
]
