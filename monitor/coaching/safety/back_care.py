"""Lower-back pain in the passive hang: a sequence of cues, and a log of what was tried and the pain after.

Common practice, no source. The cues are tried one after the other; none of them treats anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.records.person_entries import PainEntry


@dataclass(frozen=True, slots=True)
class Cue:
    """One thing to look at or to try."""

    key: str
    text: str


CUES: tuple[Cue, ...] = (
    Cue("look_from_the_side", "Look at the pelvis from the side: is it tilted forward, is the lower back hollow?"),
    Cue("ribs_down", "Let the ribs sink towards the pelvis, breathe out, and look again."),
    Cue("neutral_pelvis", "Bring the pelvis to neutral: belt line level, buttocks lightly tightened."),
    Cue("let_go_gradually", "Keep that, and let go of the tension little by little, over several breaths."),
)


@dataclass(frozen=True, slots=True)
class CueRecord:
    """How often a cue was tried, and the pain (0 to 10) before and after, means over the tries; None: not known."""

    cue: Cue
    tries: int
    pain_before: float | None
    pain_after: float | None


@dataclass(frozen=True, slots=True)
class BackCare:
    """The log of the cues, and what comes next; ``next`` is None when all were tried without success."""

    records: tuple[CueRecord, ...]
    next: Cue | None
    words: str


def back_care(entries: Sequence[PainEntry]) -> BackCare:
    """Return the lower back's log: an entry's pain is the pain after what it says was tried."""
    mine = sorted((e for e in entries if e.place == "lower_back"), key=lambda e: (e.at_utc_ns, e.id))
    records = []
    for cue in CUES:
        tried = [k for k, entry in enumerate(mine) if cue.key in entry.tried]
        before = [mine[k - 1].pain for k in tried if k > 0]
        after = [mine[k].pain for k in tried]
        records.append(CueRecord(cue, len(tried), _mean(before), _mean(after)))
    helped = [r for r in records if r.pain_before is not None and r.pain_after is not None]
    best = min(helped, key=lambda r: (r.pain_after or 0) - (r.pain_before or 0), default=None)
    if best is not None and (best.pain_after or 0) < (best.pain_before or 0):
        change = f"from {best.pain_before:.1f} to {best.pain_after:.1f}"
        return BackCare(tuple(records), best.cue, f"This took the pain {change}, keep to it: {best.cue.text}")
    for record in records:
        if record.tries == 0:
            return BackCare(tuple(records), record.cue, f"Next: {record.cue.text}")
    return BackCare(
        tuple(records), None, "No cue has helped. Leave the passive hang; ask a physiotherapist or a physician."
    )


def _mean(values: list[int]) -> float | None:
    return sum(values) / len(values) if values else None
