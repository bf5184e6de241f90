"""A hold as stored: its result, where it belongs, and what people said of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from monitor.records.hold_result import WEIGHT_REASONS, HoldResult
from monitor.records.measure import measure


@dataclass(frozen=True, slots=True)
class StoredHold:
    """A hold as stored. ``onset_utc_ns`` places it in UTC for display only; durations are the board's.

    Attributes
    ----------
    uid : str
        Stable: a revision of the numbers keeps it.
    session_uid : str
        The session on the rig, and with it the journal, the rig and the calibration.
    number : int
        Within the session, from 1.
    bodyweight_N, bodyweight_u_N : float or None
        Bodyweight that the fractions refer to, and its standard uncertainty.
    measurement_version : int
        Version of the code that computed the result.
    revised : int
        How often the result was replaced by a different one; counted by the store.
    utc_offset_s : int or None
        Local time minus UTC where the hold was made.
    person_uid : str or None
        Who hung; None for a guest.
    target_s : float or None
        The target when the hold was made.
    ending : str or None
        ``exhausted``, ``target`` or ``other`` where somebody entered why it ended.
    hidden : str or None
        ``discarded``, ``split`` or ``joined``: a correction in force takes the measured hold out of every list.
    made_by : int or None
        The correction that made this hold out of measured ones.
    """

    uid: str = field(metadata=measure())
    session_uid: str = field(metadata=measure())
    number: int = field(metadata=measure())
    onset_utc_ns: int = field(metadata=measure(header="onset_utc"))
    utc_offset_s: int | None = field(default=None, kw_only=True, metadata=measure("s"))
    bodyweight_N: float | None = field(
        metadata=measure("N", u="bodyweight_u_N", label="weight", reasons=WEIGHT_REASONS)
    )
    bodyweight_u_N: float | None = field(metadata=measure("N"))
    result: HoldResult
    measurement_version: int = field(metadata=measure())
    revised: int = field(default=0, metadata=measure())
    person_uid: str | None = None
    target_s: float | None = None
    ending: str | None = None
    hidden: str | None = None
    made_by: int | None = None
