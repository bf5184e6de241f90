"""What next: item, target, allowed assistance, rest, and the reason in words."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from monitor.coaching.endurance.curve import Posterior, fit_endurance
from monitor.coaching.endurance.forecast import (
    Estimate,
    LeastAssistance,
    chance_of_holding,
    least_assistance,
    time_at,
)
from monitor.coaching.endurance.hold_efforts import efforts_of
from monitor.coaching.endurance.trend import fit_trend
from monitor.coaching.people.day_ledger import DayLedger
from monitor.coaching.people.intake import CLEARED, CLINICIAN, EQUAL, IntakeOutcome, active_share_now
from monitor.coaching.people.pauses import paused_on
from monitor.coaching.people.programme import Item, Programme
from monitor.coaching.prescribing.bouts import due_next
from monitor.coaching.prescribing.trial import TrialDay, light_help_reached, trial_day
from monitor.coaching.safety.stop_rules import Stop, paused_why
from monitor.records.stored_hold import StoredHold

_DAY_ns = 86_400 * 10**9
RECENT_DAYS, TIMES = 14.0, 2
"""A target rises once it was reached so many times in so many days (common practice, no source)."""

FREE_ALPHA = 0.02
"""Help up to this share is within what a hold without help is allowed (common practice, no source)."""

CERTAIN = 0.95
"""With the help at the end of the allowed band the target succeeds so often (common practice, no source)."""

OWN_HOLDS = 3
"""With fewer holds of its kind an item rests on all holds together (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ItemPrescription:
    """One item of today.

    Attributes
    ----------
    key, title, kind, hands : str
    target_s : float
    time_s : Estimate
        Expected time at the prescribed load; median and four-fifths interval.
    alpha : float
        As much help as needed and no more: the target succeeds with ``chance``.
    alpha_max : float
        End of the allowed band: with so much help the target succeeds with 95 %.
    chance : float
    sets : int
    rest_s : float
    paused : str
        Why the item is paused; empty where it is not.
    reason : str
    """

    key: str
    title: str
    kind: str
    hands: str
    target_s: float
    time_s: Estimate
    alpha: float
    alpha_max: float
    chance: float
    sets: int
    rest_s: float
    paused: str
    reason: str


@dataclass(frozen=True, slots=True)
class DayPrescription:
    """What a person does next, and what is known of their strength.

    ``next`` is the key of the item to do now, None where nothing is to be done; ``next_at_utc_ms`` when the next bout
    is due; ``chance_unassisted`` the probability of the trial's seconds without help today. ``paused`` says why the
    person does not hang at all, empty where they may; after a red flag of the intake there is no item either.
    """

    items: list[ItemPrescription]
    next: str | None
    next_at_utc_ms: int | None
    reason: str
    chance_unassisted: Estimate
    trial: TrialDay
    active_share: float
    share_reason: str
    cautions: list[str]
    minutes_left: float
    day: str
    holds: int
    paused: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the prescription as plain data."""
        return asdict(self)

    def item(self, key: str | None) -> ItemPrescription | None:
        """Return an item by its key."""
        return next((item for item in self.items if item.key == key), None)


def prescribe_day(
    programme: Programme,
    holds: Sequence[StoredHold],
    intake: IntakeOutcome | None,
    stops: Sequence[Stop],
    days: DayLedger,
    now_utc_ns: int,
    today: dt.date | None = None,
) -> DayPrescription:
    """Return what comes next for a person.

    Parameters
    ----------
    holds : sequence of StoredHold
        The person's, corrections applied, oldest first.
    intake : IntakeOutcome or None
        None: no intake yet; every item is open and passive and active are shared alike.
    today : date, optional
        On the person's calendar, for the programme's pauses; in UTC where it is left out.
    """
    today = today or dt.datetime.fromtimestamp(now_utc_ns // 10**9, dt.UTC).date()
    efforts = efforts_of(holds, now_utc_ns)
    posterior = fit_endurance(efforts)
    rule = programme.trial
    trial = trial_day(
        posterior,
        fit_trend(efforts),
        seconds=rule.seconds,
        chance=rule.chance,
        light_reached=light_help_reached(efforts, rule.seconds, rule.light_alpha),
        light_alpha=rule.light_alpha,
    )
    blocked = intake.blocked if intake is not None else ""
    if blocked:
        trial = replace(
            trial,
            days=None,
            earliest_days=None,
            latest_days=None,
            reason="No trial before a licensed clinician was asked.",
        )
    fits = {}
    for kind in ("passive", "active"):
        own = efforts_of(holds, now_utc_ns, kind)
        fits[kind] = fit_endurance(own) if len(own) >= OWN_HOLDS and own != efforts else posterior
    items = [
        _item(item, programme, fits.get(item.kind, posterior), holds, stops, now_utc_ns) for item in programme.items
    ]
    items = [] if blocked else [_paused(item, programme, today) for item in items]
    share, share_reason = _share(programme, holds, intake)
    cautions = _cautions(intake, stops)
    rest = paused_on(programme.pauses, today)
    paused = blocked
    if blocked:
        chosen, reason, due_ns = None, blocked, None
    elif rest is not None:
        chosen, reason, due_ns = None, f"The programme is {rest.words}.", None
        paused = reason
    else:
        chosen, reason, due_ns = _next(programme, items, holds, intake, share, days, now_utc_ns)
        if items and all(item.paused for item in items):
            paused = " ".join(stop.words for stop in stops) or reason
    return DayPrescription(
        items=items,
        next=chosen,
        next_at_utc_ms=None if due_ns is None else due_ns // 1_000_000,
        reason=reason,
        chance_unassisted=trial.chance_today,
        trial=trial,
        active_share=share,
        share_reason=share_reason,
        cautions=cautions,
        minutes_left=days.minutes_left,
        day="" if blocked else days.words,
        holds=len(efforts),
        paused=paused,
    )


def _paused(item: ItemPrescription, programme: Programme, today: dt.date) -> ItemPrescription:
    """Return an item with the programme's own pause among its reasons to be paused."""
    pause = paused_on(programme.pauses, today, item.key)
    return item if pause is None else replace(item, paused="; ".join(w for w in (item.paused, pause.words) if w))


def _item(
    item: Item,
    programme: Programme,
    posterior: Posterior,
    holds: Sequence[StoredHold],
    stops: Sequence[Stop],
    now_utc_ns: int,
) -> ItemPrescription:
    target_s, why = target_of(item, holds, now_utc_ns)
    rule_chance = programme.prescription.chance
    least = least_assistance(posterior, target_s, rule_chance)
    # Alternating hands rest in turn: a curve of two-handed holds says nothing of that, so no help is derived.
    if item.hands == "alternating":
        alpha, alpha_max, chance = 0.0, FREE_ALPHA, chance_of_holding(posterior, target_s).value
        why += " The hands take turns; the feet stay up."
    else:
        alpha, chance = _up(least.alpha), least.chance
        certain = _up(least_assistance(posterior, target_s, CERTAIN).alpha)
        alpha_max = max(alpha, certain, FREE_ALPHA)
        why += " " + _help_words(least, rule_chance, item, posterior)
    return ItemPrescription(
        key=item.key,
        title=item.title,
        kind=item.kind,
        hands=item.hands,
        target_s=target_s,
        time_s=time_at(posterior, 1.0 - alpha),
        alpha=alpha,
        alpha_max=alpha_max,
        chance=chance,
        sets=item.sets,
        rest_s=item.rest_s,
        paused=paused_why(stops, item.key),
        reason=why,
    )


def _help_words(least: LeastAssistance, rule_chance: float, item: Item, posterior: Posterior) -> str:
    base = (
        f"{posterior.efforts} holds" if posterior.efforts else "no hold yet, so on what is known of people in general"
    )
    if least.flag == "none_needed":
        return f"No help is needed: it succeeds with {least.chance:.0%} (rests on {base})."
    if least.flag == "more_than_can_be_prescribed":
        return f"Even with {_up(least.alpha):.0%} help it succeeds with {least.chance:.0%} only: stop earlier."
    help_words = f"With {_up(least.alpha):.0%} help it succeeds with {rule_chance:.0%} (rests on {base})."
    return help_words if item.support == "assisted" else f"{help_words} Without help it would be too much today."


def target_of(item: Item, holds: Sequence[StoredHold], now_utc_ns: int) -> tuple[float, str]:
    """Return an item's target in seconds and why: the longest step that was reached twice lately, and one more."""
    lately = [
        h.result.duration_s
        for h in holds
        if now_utc_ns - h.onset_utc_ns <= RECENT_DAYS * _DAY_ns and h.onset_utc_ns <= now_utc_ns and _is_of(item, h)
    ]
    lately.sort(reverse=True)
    if len(lately) < TIMES or lately[TIMES - 1] < item.start_s:
        return item.start_s, f"{item.start_s:.0f} s is where the item begins."
    sure_s = lately[TIMES - 1]
    steps = math.floor((sure_s - item.start_s) / item.step_s + 1e-9) + 1
    target_s = min(item.goal_s, item.start_s + steps * item.step_s)
    if target_s >= item.goal_s and sure_s >= item.goal_s:
        return item.goal_s, f"The goal of {item.goal_s:.0f} s was reached twice lately: keep it."
    return target_s, f"{sure_s:.0f} s were reached twice lately: one step more."


def _is_of(item: Item, hold: StoredHold) -> bool:
    result = hold.result
    if item.hands == "alternating":
        return bool(result.grip_changes_s)
    kind_fits = item.kind == "either" or result.kind in (item.kind, None)
    support_fits = result.support == item.support or (item.support == "assisted" and result.support == "unassisted")
    return kind_fits and support_fits and not result.grip_changes_s


def _share(programme: Programme, holds: Sequence[StoredHold], intake: IntakeOutcome | None) -> tuple[float, str]:
    if intake is None:
        return EQUAL, "No intake yet: both kinds alike."
    come = {}
    for kind in ("passive", "active"):
        item = next((i for i in programme.items if i.kind == kind), None)
        longest = max((h.result.duration_s for h in holds if h.result.kind == kind), default=0.0)
        come[kind] = 0.0 if item is None else (longest - item.start_s) / max(item.goal_s - item.start_s, 1.0)
    return active_share_now(intake, come["passive"], come["active"])


def _cautions(intake: IntakeOutcome | None, stops: Sequence[Stop]) -> list[str]:
    cautions = []
    if intake is not None and intake.ask_clinician:
        if intake.cleared:
            cautions.append(f"{CLEARED}, as the intake says: {', '.join(intake.ask_clinician)}.")
        else:
            cautions.append(f"{CLINICIAN}: {', '.join(intake.ask_clinician)}. This is a note; it clears nobody.")
    if intake is not None:
        cautions += intake.cautions
    return cautions + [stop.words for stop in stops]


def _next(
    programme: Programme,
    items: Sequence[ItemPrescription],
    holds: Sequence[StoredHold],
    intake: IntakeOutcome | None,
    share: float,
    days: DayLedger,
    now_utc_ns: int,
) -> tuple[str | None, str, int | None]:
    """Return the item to do next, why, and when."""
    if days.minutes_left <= 0:
        return None, "Today's minutes are done.", None
    free = [i for i in items if not i.paused]
    if not free:
        return None, "Everything is paused; see the cautions.", None
    # An item that asks for more help than it is made for gives way to the assisted one.
    doable = []
    for one in free:
        item = programme.item(one.key)
        closed = intake is not None and not intake.open_items.get(one.key, True) and one.alpha > FREE_ALPHA
        hard = item is not None and item.support == "unassisted" and one.alpha > programme.trial.light_alpha
        if not closed and not hard:
            doable.append(one)
    candidates = doable or [i for i in free if (item := programme.item(i.key)) and item.support == "assisted"] or free
    done_s = {"passive": 0.0, "active": 0.0}
    since_ns = now_utc_ns - 7 * _DAY_ns
    for hold in holds:
        if hold.onset_utc_ns >= since_ns and hold.result.kind in done_s:
            done_s[hold.result.kind] += hold.result.duration_s
    total_s = sum(done_s.values())
    wanted = {"active": share, "passive": 1.0 - share}

    def lack(one: ItemPrescription) -> float:
        # What the kind still lacks of its share of the last week; the more, the sooner its turn.
        return wanted[one.kind] * (total_s + 60.0) - done_s[one.kind] if one.kind in wanted else 0.0

    chosen = max(candidates, key=lack)
    due_ns, bout_words = due_next(chosen.sets, chosen.rest_s, holds, programme.day.remind_after_min, now_utc_ns)
    words = f"{chosen.title}, {chosen.target_s:.0f} s"
    words += f" with up to {chosen.alpha_max:.0%} help. " if chosen.alpha > 0 else " without help. "
    return chosen.key, words + chosen.reason + bout_words, due_ns


def _up(alpha: float) -> float:
    """Return a fraction rounded up to the next whole percent."""
    return math.ceil(alpha * 100 - 1e-9) / 100
