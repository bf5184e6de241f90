"""Holds as everyone sees them: the measurement and the corrections in force. Pure: values in, values out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from monitor.records.correction import Correction
from monitor.records.hold_fields import lost_fields
from monitor.records.hold_result import HoldResult, Kind, Regrip
from monitor.records.join_rules import join_records
from monitor.records.split_rules import split_record
from monitor.records.stored_hold import StoredHold
from monitor.store.holds.rows import KIND_BY_HAND, retagged

KINDS: tuple[Kind, ...] = get_args(Kind)

SPLIT_FLAG, JOIN_FLAG = "split_by_the_coach", "joined_by_the_coach"
LOST_FLAG = "lost_by_correction"
SAME_HOLD_S = 0.25
"""Edges that moved by more since a correction was measured are those of another hold (common practice, no source)."""

DISCARDED, SPLIT, JOINED = "discarded", "split", "joined"


@dataclass(frozen=True, slots=True)
class CorrectedHolds:
    """What follows from the corrections.

    Attributes
    ----------
    holds : list of StoredHold
        In order of onset; those that a correction made carry its id in ``made_by``.
    hidden : dict
        Why measured holds are out of sight, by uid.
    void : dict
        Corrections that cannot be applied, by id, with the reason: their hold is gone, or another undid what they
        rest on. They are kept and come back with it.
    """

    holds: list[StoredHold]
    hidden: dict[str, str] = field(default_factory=dict)
    void: dict[int, str] = field(default_factory=dict)


def corrected_holds(measured: Sequence[StoredHold], corrections: Sequence[Correction]) -> CorrectedHolds:
    """Return a session's holds with its corrections applied in their order; undone ones are left out.

    Parameters
    ----------
    measured : sequence of StoredHold
        The session's holds as measured.
    corrections : sequence of Correction
        All of the session, in the order in which they were made.
    """
    live = {hold.uid: replace(hold, hidden=None) for hold in measured}
    discarded: dict[str, StoredHold] = {}
    hidden: dict[str, str] = {}
    void: dict[int, str] = {}

    def hide(uid: str, why: str) -> None:
        hold = live.pop(uid)
        if why == DISCARDED:
            discarded[uid] = hold
        if hold.made_by is None:
            hidden[uid] = why

    for correction in corrections:
        if correction.undone_utc_ns is not None:
            continue
        uid, content = correction.hold_uid, correction.content
        problem = _problem(correction, live, discarded)
        if problem:
            void[correction.id] = problem
        elif correction.kind == "retag":
            live[uid] = replace(live[uid], result=retagged(live[uid].result, content["kind"]))
        elif correction.kind == "discard":
            hide(uid, DISCARDED)
        elif correction.kind == "restore":
            hidden.pop(uid, None)
            live[uid] = discarded.pop(uid)
        elif correction.kind == "split":
            parts = split_hold(live[uid], content["at_s"], content, correction.id)
            hide(uid, SPLIT)
            live.update({part.uid: part for part in parts})
        else:
            one = join_holds(live[uid], live[content["with"]], content, correction.id)
            hide(uid, JOINED)
            hide(content["with"], JOINED)
            live[one.uid] = one
    return CorrectedHolds(sorted(live.values(), key=lambda h: (h.result.onset_s, h.uid)), hidden, void)


def _problem(correction: Correction, live: dict[str, StoredHold], discarded: dict[str, StoredHold]) -> str:
    """Return why a correction cannot be applied, or nothing."""
    hold, content = live.get(correction.hold_uid), correction.content
    if correction.kind == "restore":
        return "" if correction.hold_uid in discarded else "The hold is not discarded."
    if hold is None:
        return "The hold is not there: it was withdrawn, discarded, split or joined before."
    if correction.kind == "retag":
        return "" if content.get("kind") in KINDS else f"The kind must be one of {', '.join(KINDS)}."
    if correction.kind == "split":
        at_s, start_s, end_s = content.get("at_s"), hold.result.onset_s, hold.result.release_s
        inside = isinstance(at_s, (int, float)) and start_s < at_s < end_s
        return "" if inside else f"The split must lie between {start_s:.2f} and {end_s:.2f} s of the record."
    if correction.kind == "join":
        other = live.get(str(content.get("with")))
        if other is None or other.uid == hold.uid:
            return "The other hold is not there."
        if other.session_uid != hold.session_uid:
            return "The two holds are of different sessions."
        between = [h for h in live.values() if hold.result.release_s <= h.result.onset_s < other.result.onset_s - 1e-9]
        if other.result.onset_s < hold.result.release_s or between:
            return "The other hold is not the next one after this."
        return ""
    return "" if correction.kind == "discard" else f"There is no correction {correction.kind!r}."


def split_hold(
    hold: StoredHold, at_s: float, content: Mapping[str, Any] | None = None, made_by: int | None = None
) -> tuple[StoredHold, StoredHold]:
    """Return the two holds that a split makes.

    Where the correction's ``content`` has the parts as measured, that is what they are. Otherwise every field is split
    by its rule; one without a rule, such as a mean of the whole, is absent, and a flag says so.
    """
    content, whole = content or {}, hold.result
    spans = ((whole.onset_s, at_s), (at_s, whole.release_s))
    measured = _measured_results(content, spans)
    made = []
    for number, (start_s, end_s) in enumerate(spans, start=1):
        by_rules = split_record(whole, whole, start_s, end_s)
        if measured:
            result = _as_measured(measured[number - 1], by_rules, SPLIT_FLAG, hold)
        else:
            given = content.get("parts", [{}, {}])[number - 1]
            lost = any(name not in given for name in lost_fields(whole, "split"))
            result = replace(by_rules, **{"flags": _with_flags(by_rules, SPLIT_FLAG, lost), **given})
        shift_ns = round((start_s - whole.onset_s) * 1e9)
        made.append(
            replace(
                hold,
                uid=f"{hold.uid}-part-{number}",
                onset_utc_ns=hold.onset_utc_ns + shift_ns,
                result=result,
                measurement_version=content["measured"]["version"] if measured else hold.measurement_version,
                revised=0,
                made_by=made_by,
                ending=hold.ending if number == 2 else "other",
            )
        )
    return made[0], made[1]


def join_holds(
    first: StoredHold, second: StoredHold, content: Mapping[str, Any] | None = None, made_by: int | None = None
) -> StoredHold:
    """Return the one hold that two make; the duration runs through the gap between them.

    Where the correction's ``content`` has it as measured, that is what it is. Otherwise every field is joined by its
    rule, and a flag says where a field without a rule is lost; the gap is listed as a regrip.
    """
    a, b = first.result, second.result
    content, version = content or {}, first.measurement_version
    by_rules = join_records(a, b, a, b)
    measured = _measured_results(content, ((a.onset_s, b.release_s),))
    if measured:
        result, version = _as_measured(measured[0], by_rules, JOIN_FLAG, first, second), content["measured"]["version"]
    else:
        result = replace(
            by_rules,
            regrips=[*a.regrips, Regrip(a.release_s, b.onset_s), *b.regrips],
            flags=_with_flags(by_rules, JOIN_FLAG, bool(lost_fields(a, "join") or lost_fields(b, "join"))),
        )
    uid = f"{first.uid}-join-{second.number:03d}"
    return replace(
        first,
        uid=uid,
        result=result,
        measurement_version=version,
        revised=0,
        made_by=made_by,
        ending=second.ending,
    )


def _measured_results(content: Mapping[str, Any], spans: Sequence[tuple[float, float]]) -> list[HoldResult]:
    """Return the results that were measured for a correction; none where its holds have other edges by now."""
    results = [HoldResult.from_dict(row) for row in content.get("measured", {}).get("results", [])]
    if len(results) != len(spans):
        return []
    moved_s = [
        max(abs(result.onset_s - begin_s), abs(result.release_s - end_s))
        for result, (begin_s, end_s) in zip(results, spans, strict=True)
    ]
    return results if max(moved_s) < SAME_HOLD_S else []


def _as_measured(result: HoldResult, by_rules: HoldResult, flag: str, *sources: StoredHold) -> HoldResult:
    """Return a measured result with what the measurement cannot know: a coach's word, how the session ended."""
    if KIND_BY_HAND in by_rules.flags or result.kind is None:
        result = replace(result, kind=by_rules.kind)
    flags = [one for one in result.flags if one != "kind_unknown" or result.kind is None]
    flags += [one for one in (KIND_BY_HAND, "interrupted") if one in by_rules.flags]
    lost = False
    if result.clean_s is None:
        result = replace(result, clean_s=by_rules.clean_s)
        lost = by_rules.clean_s is None and any(source.result.clean_s is not None for source in sources)
    return replace(result, flags=_with_flags(replace(result, flags=flags), flag, lost))


def _with_flags(result: HoldResult, flag: str, lost: bool) -> list[str]:
    return list(dict.fromkeys([*result.flags, flag, *([LOST_FLAG] if lost else [])]))
