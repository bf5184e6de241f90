"""Holds as everyone sees them: the measurement and the corrections in force. Pure: values in, values out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from monitor.records.correction import Correction
from monitor.records.hold_result import HoldResult, Regrip, Swing
from monitor.records.stored_hold import StoredHold
from monitor.store.holds.rows import retagged

CorrectionKind = Literal["retag", "split", "join", "discard", "restore"]
CORRECTION_KINDS: tuple[CorrectionKind, ...] = ("retag", "split", "join", "discard", "restore")
KINDS = ("passive", "active", "mixed")

SPLIT_FLAG, JOIN_FLAG = "split_by_the_coach", "joined_by_the_coach"
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
            parts = split_hold(live[uid], content["at_s"], content.get("parts"), correction.id)
            hide(uid, SPLIT)
            live.update({part.uid: part for part in parts})
        else:
            one = join_holds(live[uid], live[content["with"]], correction.id)
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
            return "The two holds are of different stays."
        between = [h for h in live.values() if hold.result.release_s <= h.result.onset_s < other.result.onset_s - 1e-9]
        if other.result.onset_s < hold.result.release_s or between:
            return "The other hold is not the next one after this."
        return ""
    return "" if correction.kind == "discard" else f"There is no correction {correction.kind!r}."


def split_hold(
    hold: StoredHold, at_s: float, parts: Sequence[dict[str, Any]] | None = None, made_by: int | None = None
) -> tuple[StoredHold, StoredHold]:
    """Return the two holds that a split makes.

    What has a time (states, travel, touches) goes to its part. What is a mean of the whole is known for a part only
    where ``parts`` gives it; otherwise it is absent, and a flag says why.
    """
    whole = hold.result
    made = []
    for number, (start_s, end_s) in enumerate(((whole.onset_s, at_s), (at_s, whole.release_s)), start=1):
        cut = _cutter(start_s, end_s)
        result = HoldResult(
            onset_s=start_s,
            release_s=end_s,
            duration_s=end_s - start_s,
            duration_u_s=whole.duration_u_s,
            kind=whole.kind if whole.kind != "mixed" else None,
            support=whole.support,
            alpha_direct=whole.alpha_direct,
            misclosure=whole.misclosure,
            misclosure_u=whole.misclosure_u,
            states=cut(whole.states),
            travel=cut(whole.travel, whole=True),
            regrips=cut(whole.regrips, whole=True),
            grip_changes_s=[t for t in whole.grip_changes_s if start_s <= t < end_s],
            third_support=cut(whole.third_support),
            touches=cut(whole.touches, whole=True),
            flags=[*whole.flags, SPLIT_FLAG],
        )
        if parts is not None:
            result = replace(result, **parts[number - 1])
        shift_ns = round((start_s - whole.onset_s) * 1e9)
        made.append(
            replace(
                hold,
                uid=f"{hold.uid}-part-{number}",
                onset_utc_ns=hold.onset_utc_ns + shift_ns,
                result=result,
                revised=0,
                made_by=made_by,
                ending=hold.ending if number == 2 else "other",
            )
        )
    return made[0], made[1]


def _cutter(start_s: float, end_s: float) -> Callable[..., Any]:
    """Return a function that keeps of a list what lies in a stretch: cut to it, or ``whole`` by its start."""

    def cut(spans: list[Any], *, whole: bool = False) -> list[Any]:
        if whole:
            return [s for s in spans if start_s <= s.start_s < end_s]
        inside = [s for s in spans if s.end_s > start_s and s.start_s < end_s]
        return [replace(s, start_s=max(s.start_s, start_s), end_s=min(s.end_s, end_s)) for s in inside]

    return cut


def join_holds(first: StoredHold, second: StoredHold, made_by: int | None = None) -> StoredHold:
    """Return the one hold that two make; the gap between them is listed as a regrip.

    Sums add, extremes are the larger one, means are weighted by the time on the bar; their uncertainties are added
    likewise, as if they went together. The duration runs through the gap.
    """
    a, b = first.result, second.result
    hung_s = (a.duration_s, b.duration_s)

    def mean(name: str) -> float | None:
        x, y = getattr(a, name), getattr(b, name)
        return None if x is None or y is None else (x * hung_s[0] + y * hung_s[1]) / sum(hung_s)

    def both(name: str, join: Callable[[float, float], float]) -> float | None:
        x, y = getattr(a, name), getattr(b, name)
        return None if x is None or y is None else join(x, y)

    result = HoldResult(
        onset_s=a.onset_s,
        release_s=b.release_s,
        duration_s=b.release_s - a.onset_s,
        duration_u_s=max(a.duration_u_s, b.duration_u_s),
        kind=a.kind if a.kind == b.kind else ("mixed" if a.kind and b.kind else None),
        support=a.support if a.support == b.support else "assisted" if "assisted" in (a.support, b.support) else None,
        beta_mean=mean("beta_mean"),
        beta_u=mean("beta_u"),
        alpha_mean=mean("alpha_mean"),
        alpha_u=mean("alpha_u"),
        alpha_p95=both("alpha_p95", max),
        alpha_direct=a.alpha_direct and b.alpha_direct,
        assistance_course=[*a.assistance_course, *b.assistance_course],
        clean_s=both("clean_s", lambda x, y: x + y),
        misclosure=mean("misclosure"),
        misclosure_u=mean("misclosure_u"),
        peak_N=both("peak_N", max),
        peak_u_N=_higher(a, b).peak_u_N,
        dose_bw_s=both("dose_bw_s", lambda x, y: x + y),
        lateral_m=mean("lateral_m"),
        swing=_joined_swing(a, b),
        settle_s=a.settle_s,
        states=[*a.states, *b.states],
        travel=[*a.travel, *b.travel],
        regrips=[*a.regrips, Regrip(a.release_s, b.onset_s), *b.regrips],
        grip_changes_s=[*a.grip_changes_s, *b.grip_changes_s],
        third_support=[*a.third_support, *b.third_support],
        tremor_N=both("tremor_N", max),
        loading_N_s=a.loading_N_s,
        loading_u_N_s=a.loading_u_N_s,
        touches=[*a.touches, *b.touches],
        flags=[*dict.fromkeys([*a.flags, *b.flags]), JOIN_FLAG],
    )
    uid = f"{first.uid}-join-{second.number:03d}"
    return replace(first, uid=uid, result=result, revised=0, made_by=made_by, ending=second.ending)


def _higher(a: HoldResult, b: HoldResult) -> HoldResult:
    """Return the part with the higher peak."""
    return max(a, b, key=lambda part: part.peak_N or 0.0)


def _joined_swing(a: HoldResult, b: HoldResult) -> Swing | None:
    if a.swing is None or b.swing is None:
        return None
    x, y = a.swing, b.swing
    largest = None if x.max_deg is None or y.max_deg is None else max(x.max_deg, y.max_deg)
    rms = None
    if x.rms_deg is not None and y.rms_deg is not None:
        squares = x.rms_deg**2 * a.duration_s + y.rms_deg**2 * b.duration_s
        rms = (squares / (a.duration_s + b.duration_s)) ** 0.5
    return Swing(
        largest,
        rms,
        x.frequency_Hz if x.frequency_Hz is not None else y.frequency_Hz,
        [*x.course, *y.course],
        x.kappa,
        x.kappa_u,
    )
