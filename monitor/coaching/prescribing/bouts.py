"""Bouts: groups of sets with only short rests between them; how many sets are done, and when the next one is due."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.records.stored_hold import StoredHold

BOUT_GAP_RESTS, SHORTEST_BOUT_GAP_s = 3.0, 600.0
"""Holds closer together than this many rests, or these seconds, are sets of one bout (common practice, no source)."""


def sets_of_bout(rest_s: float, holds: Sequence[StoredHold], now_utc_ns: int) -> int:
    """Return how many sets of the current bout are done; 0 once the last hold is longer ago than a bout's gap.

    Parameters
    ----------
    rest_s : float
        Rest between the sets of the item.
    holds : sequence of StoredHold
        The person's.
    """
    spans = _spans(holds, now_utc_ns)
    if not spans or now_utc_ns - spans[-1][1] > _gap_ns(rest_s):
        return 0
    return _sets(rest_s, spans)


def due_next(
    sets: int, rest_s: float, holds: Sequence[StoredHold], remind_after_min: float, now_utc_ns: int
) -> tuple[int, str]:
    """Return when the next set is due (UTC ns), or once ``sets`` are done the next bout; and the latter in words."""
    spans = _spans(holds, now_utc_ns)
    if not spans:
        return now_utc_ns, ""
    done = _sets(rest_s, spans)
    last_ns = spans[-1][1]
    if done >= sets:
        due_ns = last_ns + round(remind_after_min * 60e9)
        if due_ns > now_utc_ns:
            return due_ns, f" {done} sets of this bout are done: the next bout in {remind_after_min:.0f} min."
        return now_utc_ns, ""
    return max(now_utc_ns, last_ns + round(rest_s * 1e9)), ""


def _spans(holds: Sequence[StoredHold], now_utc_ns: int) -> list[tuple[int, int]]:
    """Return begin and end (UTC ns) of the holds so far, oldest first."""
    spans = [(h.onset_utc_ns, h.onset_utc_ns + round(h.result.duration_s * 1e9)) for h in holds]
    return sorted(span for span in spans if span[0] <= now_utc_ns)


def _gap_ns(rest_s: float) -> int:
    return round(max(BOUT_GAP_RESTS * rest_s, SHORTEST_BOUT_GAP_s) * 1e9)


def _sets(rest_s: float, spans: Sequence[tuple[int, int]]) -> int:
    """Return how many holds the last bout has: those no further apart than a bout's gap."""
    sets = 1
    for (_, before), (after, _) in zip(spans[-2::-1], spans[:0:-1], strict=True):
        if after - before > _gap_ns(rest_s):
            break
        sets += 1
    return sets
