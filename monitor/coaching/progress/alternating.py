"""The two-handed alternating long hang: hands take turns, the feet never come down."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from monitor.records.hold_result import HoldResult

FEET_DOWN_ALPHA = 0.02
"""Help above this share of bodyweight means that the feet were down (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class AlternatingHang:
    """One such hang.

    Attributes
    ----------
    total_s : float
    changes : int or None
        None where the hands cannot be told apart (one bar cell).
    longest_one_hand_s : float or None
        Longest time between two changes, or from an edge to a change; None without a change.
    feet_never_down : bool or None
        None where it is not known.
    """

    total_s: float
    changes: int | None
    longest_one_hand_s: float | None
    feet_never_down: bool | None


def alternating_hang(hold: HoldResult) -> AlternatingHang:
    """Return a hold as an alternating hang."""
    apart = "hands_not_told_apart" not in hold.flags
    times = [hold.onset_s, *sorted(hold.grip_changes_s), hold.release_s]
    longest = max(end - start for start, end in itertools.pairwise(times)) if hold.grip_changes_s else None
    feet: bool | None = None
    if hold.touches:
        feet = False
    elif hold.alpha_p95 is not None and hold.alpha_direct:
        feet = hold.alpha_p95 <= FEET_DOWN_ALPHA
    return AlternatingHang(
        total_s=hold.duration_s,
        changes=len(hold.grip_changes_s) if apart else None,
        longest_one_hand_s=longest if apart else None,
        feet_never_down=feet,
    )
