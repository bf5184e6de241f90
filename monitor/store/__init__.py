"""Schema and migrations, one writer, queries; the data folder's layout."""

from __future__ import annotations

from monitor.store.audit import AuditEntry
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
from monitor.store.holds.corrected_holds import CorrectedHolds, Correction, corrected_holds
from monitor.store.holds.earlier_results import EarlierResult
from monitor.store.holds.markers import Marker, MarkerKind, UnknownMarker
from monitor.store.holds.rows import StoredHold, StoredSession
from monitor.store.holds.search import HoldFilter, HoldOrder
from monitor.store.people.person import Intake, ManualHang, PainEntry, Person, StoredProgramme
from monitor.store.people.swing_calibrations import SwingCalibration
from monitor.store.store import Store, open_store

__all__ = [
    "AccessFile",
    "AuditEntry",
    "CorrectedHolds",
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
    "SessionExists",
    "Store",
    "StoredHold",
    "StoredProgramme",
    "StoredSession",
    "SwingCalibration",
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
