"""Schema and migrations, one writer, queries; the data folder's layout."""

from __future__ import annotations

from monitor.store.access import AccessFile
from monitor.store.audit import AuditEntry
from monitor.store.earlier import EarlierResult
from monitor.store.errors import (
    CorrectionNotPossible,
    DatabaseClosed,
    DatabaseNewer,
    DatabaseNotOpened,
    DatabaseNotOurs,
    DatabaseNotRead,
    DatabaseNotWritten,
    StayExists,
    UnknownCorrection,
    UnknownHold,
    UnknownPerson,
    UnknownStay,
)
from monitor.store.folder import DataFolder, DataFolderNotUsable, hold_uid, journal_place, new_stay_uid
from monitor.store.markers import Marker, MarkerKind, UnknownMarker
from monitor.store.person import Intake, ManualHang, PainEntry, Person, StoredProgramme
from monitor.store.rows import StoredHold, StoredStay
from monitor.store.search import HoldFilter, HoldOrder
from monitor.store.seen import Correction, Seen, seen_holds
from monitor.store.store import Store, open_store
from monitor.store.swing_calibrations import SwingCalibration

__all__ = [
    "AccessFile",
    "AuditEntry",
    "Correction",
    "CorrectionNotPossible",
    "DataFolder",
    "DataFolderNotUsable",
    "DatabaseClosed",
    "DatabaseNewer",
    "DatabaseNotOpened",
    "DatabaseNotOurs",
    "DatabaseNotRead",
    "DatabaseNotWritten",
    "EarlierResult",
    "HoldFilter",
    "HoldOrder",
    "Intake",
    "ManualHang",
    "Marker",
    "MarkerKind",
    "PainEntry",
    "Person",
    "Seen",
    "StayExists",
    "Store",
    "StoredHold",
    "StoredProgramme",
    "StoredStay",
    "SwingCalibration",
    "UnknownCorrection",
    "UnknownHold",
    "UnknownMarker",
    "UnknownPerson",
    "UnknownStay",
    "hold_uid",
    "journal_place",
    "new_stay_uid",
    "open_store",
    "seen_holds",
]
