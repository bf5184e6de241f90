"""What the store keeps, as frozen values."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import RowMapping

from monitor.measures.result import HoldResult, Kind


@dataclass(frozen=True, slots=True)
class StoredHold:
    """A hold as kept. ``onset_utc_ns`` places it in UTC for display only; durations are the board's.

    Attributes
    ----------
    uid : str
        Stable: a revision of the numbers keeps it.
    session_uid : str
        The session on the rig, thereby the journal, the rig and the calibration that were in force.
    number : int
        Within the session, from 1.
    bodyweight_N, bodyweight_u_N : float or None
        Bodyweight that the fractions refer to, and its standard uncertainty.
    measurement_version : int
        Version of the code that computed the result.
    revised : int
        How often the result was replaced by a different one; kept by the store.
    utc_offset_s : int or None
        Local time minus UTC where the hold was made.
    person_uid : str or None
        Who hung; None for a guest.
    target_s : float or None
        The time that was asked for when the hold was made.
    ending : str or None
        ``exhausted``, ``target`` or ``other`` where somebody said why it ended.
    hidden : str or None
        ``discarded``, ``split`` or ``joined``: a correction in force takes the measured hold out of every list.
    made_by : int or None
        The correction that made this hold out of measured ones.
    """

    uid: str
    session_uid: str
    number: int
    onset_utc_ns: int
    bodyweight_N: float | None
    bodyweight_u_N: float | None
    result: HoldResult
    measurement_version: int
    revised: int = 0
    utc_offset_s: int | None = None
    person_uid: str | None = None
    target_s: float | None = None
    ending: str | None = None
    hidden: str | None = None
    made_by: int | None = None


@dataclass(frozen=True, slots=True)
class StoredSession:
    """A session on the rig. ``ended_utc_ns`` is None while it lasts, or when the program was cut off.

    ``journal`` is relative to the data folder; ``clock_rate`` is true seconds per second of the board.
    """

    uid: str
    started_utc_ns: int
    ended_utc_ns: int | None
    journal: str
    rig: dict[str, Any]
    calibration: dict[str, Any] | None
    clock_rate: float | None
    quality: dict[str, Any] | None
    interrupted: bool
    person_uid: str | None = None


def plain(value: Any) -> Any:
    """Return ``value`` as data that any JSON reader takes: NumPy scalars unwrapped, NaN and infinities as None."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"A {type(value).__name__} cannot be stored; give numbers, text, lists and dictionaries.")


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


_COPIED = (
    "duration_s",
    "duration_u_s",
    "kind",
    "support",
    "beta_mean",
    "alpha_mean",
    "alpha_u",
    "alpha_direct",
    "clean_s",
    "dose_bw_s",
)
"""Fields of the result that have a column of their own."""


def hold_columns(hold: StoredHold) -> dict[str, Any]:
    """Return a hold's columns, without the session and the store's own bookkeeping."""
    result = plain(hold.result.as_dict())
    return {
        "number": int(hold.number),
        "onset_utc_ns": int(hold.onset_utc_ns),
        "utc_offset_s": hold.utc_offset_s,
        **{name: result[name] for name in _COPIED},
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
    return StoredHold(
        uid=row["uid"],
        session_uid=row["session_uid"],
        number=row["number"],
        onset_utc_ns=row["onset_utc_ns"],
        bodyweight_N=row["bodyweight_N"],
        bodyweight_u_N=row["bodyweight_u_N"],
        result=result,
        measurement_version=row["measurement_version"],
        revised=row["revised"],
        utc_offset_s=row["utc_offset_s"],
        person_uid=row["person_uid"],
        target_s=row["target_s"],
        ending=row["ending"],
        hidden=row["hidden"],
        made_by=row["made_by"],
    )


def session_of_row(row: RowMapping) -> StoredSession:
    """Build a session from a row that carries ``rig`` and ``calibration`` beside the session's columns."""
    return StoredSession(
        uid=row["uid"],
        started_utc_ns=row["started_utc_ns"],
        ended_utc_ns=row["ended_utc_ns"],
        journal=row["journal"],
        rig=row["rig"],
        calibration=row["calibration"],
        clock_rate=row["clock_rate"],
        quality=row["quality"],
        interrupted=row["interrupted"],
        person_uid=row["person_uid"],
    )
