"""What a coach noted of an instant of a session."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MarkerKind = Literal["cue", "pain", "note"]

TURN_s = 2**32 / 1e6
"""A board's clock turns over after so long; a session that is read from its journal may lie whole turns elsewhere."""


@dataclass(frozen=True, slots=True)
class Marker:
    """Something that a coach noted of an instant.

    Attributes
    ----------
    kind : str
        ``cue``: something was said or shown; ``pain``; ``note``: anything else.
    at_s : float
        On the time axis of the session's holds.
    text : str
    pain : int or None
        From 0 to 10, where it was entered.
    removed_utc_ns : int or None
        When it was taken back; None while it stands.
    """

    id: int
    session_uid: str
    kind: MarkerKind
    at_s: float
    text: str
    pain: int | None
    made_by: str
    made_utc_ns: int
    removed_utc_ns: int | None = None
    removed_by: str | None = None

    def time_near(self, onset_s: float) -> float:
        """Return the instant on the time axis of a hold of the same session: the live clock's or the journal's."""
        return self.at_s + round((onset_s - self.at_s) / TURN_s) * TURN_s
