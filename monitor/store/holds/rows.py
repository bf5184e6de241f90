"""Rows of holds and sessions become records, and records rows."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import RowMapping

from monitor.records.hold_result import HoldResult, Kind
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.store.database.schema import hold as hold_table


def fingerprint(content: Any) -> str:
    """Return the SHA-256 (hexadecimal) of plain data, whatever the order of its keys."""
    return hashlib.sha256(json.dumps(content, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def calibration_date(content: Mapping[str, Any]) -> str:
    """Return the newest date of a calibration's zeros and spans (ISO 8601), its id where it has none, or ''."""
    dates = [
        str(channel.get(key) or "")
        for channel in content.get("channels", [])
        if isinstance(channel, Mapping)
        for key in ("zero_at", "span_at")
    ]
    return (max(dates, default="") or str(content.get("id", "")))[:40]


_OWN_COLUMNS = tuple(name for name in HoldResult.__dataclass_fields__ if name in hold_table.c)
"""Fields of the result that have a column of their own."""


def hold_columns(hold: StoredHold) -> dict[str, Any]:
    """Return a hold's columns, without the session and the columns that the store fills in itself."""
    result = plain(hold.result.as_dict())
    return {
        "number": int(hold.number),
        "onset_utc_ns": int(hold.onset_utc_ns),
        "utc_offset_s": hold.utc_offset_s,
        **{name: result[name] for name in _OWN_COLUMNS},
        "bodyweight_N": plain(hold.bodyweight_N),
        "bodyweight_u_N": plain(hold.bodyweight_u_N),
        "result": result,
        "measurement_version": int(hold.measurement_version),
    }


KIND_BY_HAND = "kind_by_the_coach"


def retagged(result: HoldResult, kind: Kind) -> HoldResult:
    """Return a result whose kind is the coach's word, and says so."""
    flags = [f for f in result.flags if f not in (KIND_BY_HAND, "kind_unknown")]
    return replace(result, kind=kind, flags=[*flags, KIND_BY_HAND])


def hold_of_row(row: Mapping[str, Any] | RowMapping) -> StoredHold:
    """Build a hold as it is seen from a row that carries ``session_uid`` beside the hold's columns."""
    result = HoldResult.from_dict(row["result"])
    if row["made_by"] is None and row["corrected_kind"] != result.kind:
        result = retagged(result, row["corrected_kind"])
    names = (name for name in StoredHold.__dataclass_fields__ if name != "result")
    return StoredHold(result=result, **{name: row[name] for name in names})


def session_of_row(row: RowMapping) -> StoredSession:
    """Build a session from a row that carries ``rig`` and ``calibration`` beside the session's columns."""
    return StoredSession(**{name: row[name] for name in StoredSession.__dataclass_fields__})
