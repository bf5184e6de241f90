"""The history of an invented member: holds drawn day by day from a true endurance that grows.

``ln T = a + b ln beta + sigma eps``, with a growing towards its end, and what the last hold has used up taken off: the
law that the coaching fits, plus fatigue that it does not know of. Targets are those that the coaching's own rule
gives for the holds so far; help is what the true person needs, as far as a coach guesses it.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from monitor.coaching.endurance.hold_efforts import REACHED
from monitor.coaching.local_time import zone_of
from monitor.coaching.people.programme import Item, Programme, template
from monitor.coaching.prescribing.day_prescription import target_of
from monitor.demo.hall_people import ZONE, Member
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult, Kind, StateSpan, Support, Swing, Touch, Travel
from monitor.records.stored_hold import StoredHold
from monitor.store import hold_uid

DAYS = 60
Z_OF_FOUR_FIFTHS = 0.8416
RECOVERY_s = 90.0
"""After so long a rest 1/e of what a hold has used up is still missing (as in the body model, invented)."""

MOST_HELP, LEAST_HELP = 0.7, 0.03
RISE_mm, RISE_SD_mm = 42.0, 5.0
SETTLED_deg = 0.3


@dataclass(frozen=True, slots=True)
class DrawnSession:
    """One session in the hall: when it began and ended, and what was measured."""

    session_uid: str
    started_utc_ns: int
    ended_utc_ns: int
    holds: list[StoredHold]


@dataclass
class MemberDays:
    """Draws a member's sessions in order; the same numbers for the same generator.

    Parameters
    ----------
    member : Member
    first : date
        First day of the history.
    rng : numpy Generator
    """

    member: Member
    first: dt.date
    rng: np.random.Generator
    holds: list[StoredHold] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.programme: Programme = template(self.member.template)

    def log_time(self, day: float, kind: str) -> float:
        """Return the true a: the log of the median time (s) at full bodyweight."""
        member = self.member
        grown = member.gain * (1.0 - math.exp(-day / member.settle_days))
        return math.log(member.time_s) + grown + (math.log(member.active_factor) if kind == "active" else 0.0)

    def needed_help(self, day: float, kind: str, target_s: float) -> float:
        """Return the share of bodyweight that makes the target succeed with four fifths."""
        member = self.member
        reach = math.log(target_s) + Z_OF_FOUR_FIFTHS * member.spread - self.log_time(day, kind)
        return 1.0 - math.exp(min(reach / member.exponent, 0.0))

    def attends(self, day: int) -> bool:
        """Return whether the member comes to the hall on a day."""
        away = self.member.stops_on is not None and 0 <= day - self.member.stops_on < 14
        return bool(self.rng.random() < self.member.attendance) and not away

    def at(self, day: int, hour: float) -> int:
        """Return a local time as UTC in ns."""
        midnight = dt.datetime.combine(self.first + dt.timedelta(days=day), dt.time(), zone_of(ZONE))
        return round((midnight + dt.timedelta(hours=hour)).timestamp()) * 10**9

    def draw_session(self, day: int) -> DrawnSession:
        """Return the session of a day; the targets of later ones depend on its holds."""
        rng, member = self.rng, self.member
        began_ns = self.at(day, float(rng.uniform(16.5, 19.5)))
        stamp = dt.datetime.fromtimestamp(began_ns // 10**9, dt.UTC)
        session_uid = f"{stamp:%Y%m%dT%H%M%SZ}-{rng.integers(2**32):08x}"
        weight_N = member.body.weight_N * (1.0 + rng.normal(0.0, 0.004))
        at_s, left_over, made = float(rng.uniform(20, 40)), 0.0, []
        for number in range(1, member.sets + 1):
            item = self._item(day, number)
            kind: Kind = "active" if item.kind == "active" or (item.kind == "either" and number % 2) else "passive"
            onset_ns = began_ns + round(at_s * 1e9)
            target_s = self._target(day, kind, item, onset_ns)
            alpha = self._chosen_help(day, kind, target_s, item)
            capacity_s = self._capacity_s(day, kind, 1.0 - alpha) * (1.0 - 0.6 * left_over)
            duration_s = min(capacity_s, target_s + float(rng.gamma(2.0, 0.5)))
            exhausted = duration_s < REACHED * target_s
            result = self._measured(day, at_s, duration_s, alpha, kind, weight_N)
            hold = StoredHold(
                hold_uid(session_uid, number),
                session_uid,
                number,
                onset_ns,
                weight_N + float(rng.normal(0.0, 0.5)),
                0.5,
                result,
                MEASUREMENT_VERSION,
                utc_offset_s=round((stamp.astimezone(zone_of(ZONE)).utcoffset() or dt.timedelta()).total_seconds()),
                target_s=target_s,
                ending="exhausted" if exhausted else "target",
            )
            made.append(hold)
            self.holds.append(hold)
            rest_s = item.rest_s * float(rng.uniform(0.8, 1.3))
            left_over = (left_over + (1.0 - left_over) * min(duration_s / capacity_s, 1.0)) * math.exp(
                -rest_s / RECOVERY_s
            )
            at_s += duration_s + rest_s
        return DrawnSession(session_uid, began_ns, began_ns + round((at_s + 20) * 1e9), made)

    def _item(self, day: int, number: int) -> Item:
        """Return the programme's item of a set: unassisted ones in turn once they need hardly any help."""
        items = self.programme.items
        assisted = next((i for i in items if i.support == "assisted"), items[0])
        light = self.programme.trial.light_alpha
        ready = [
            i
            for i in items
            if i.support == "unassisted"
            and i.hands == "both"
            and self.needed_help(day, i.kind, i.start_s) <= light * 0.3
        ]
        if not ready:
            return assisted
        return ready[number % len(ready)]

    def _target(self, day: int, kind: str, item: Item, now_ns: int) -> float:
        """Return the target: where the item begins until it needs no help, then as the coaching's rule says."""
        if item.support == "assisted" and self.needed_help(day, kind, item.start_s) > 0:
            return item.start_s
        return target_of(item, self.holds, now_ns)[0]

    def _chosen_help(self, day: int, kind: str, target_s: float, item: Item) -> float:
        """Return what the feet take: the need as a coach guesses it; nothing where it is an item without help."""
        if item.support == "unassisted":
            return max(0.0, float(self.rng.normal(0.001, 0.0015)))
        alpha = self.needed_help(day, kind, target_s) + float(self.rng.normal(0.01, 0.02))
        if alpha < LEAST_HELP and self.rng.random() < 0.5:
            return max(0.0, float(self.rng.normal(0.001, 0.0015)))
        return min(max(alpha, LEAST_HELP), MOST_HELP)

    def _capacity_s(self, day: int, kind: str, beta: float) -> float:
        member = self.member
        eps = float(self.rng.normal())
        return math.exp(self.log_time(day, kind) + member.exponent * math.log(beta) + member.spread * eps)

    def _measured(
        self, day: int, at_s: float, duration_s: float, alpha: float, kind: Kind, weight_N: float
    ) -> HoldResult:
        """Return what a rig would have measured: the truth, off by about the stated uncertainties."""
        rng, member = self.rng, self.member
        u_s, u_alpha = 0.012, 0.0011
        measured_s = duration_s + float(rng.normal(0.0, u_s))
        measured_alpha = alpha + float(rng.normal(0.0, u_alpha))
        free = alpha < 0.02
        support: Support = "unassisted" if free else "assisted"
        wander = 0.0015 if free else 0.02 + 0.1 * alpha
        swing_deg = SETTLED_deg + member.swing_deg * 2 ** (-day / 30) * float(rng.rayleigh(0.6)) * (
            1.0 if free else 0.5
        )
        touches = []
        if free and rng.random() < 0.08:
            touch_s = at_s + float(rng.uniform(0.3, 0.9)) * measured_s
            touches = [Touch(touch_s, touch_s + 0.3, float(rng.uniform(0.04, 0.12)))]
        travel = []
        if kind == "active":
            travel = [Travel(at_s + 0.8, at_s + 1.6, float(rng.normal(RISE_mm, RISE_SD_mm)), 1.5)]
        states = [StateSpan(at_s, at_s + measured_s, kind, 0.97)]
        clean = 1.0 if free else float(np.clip(rng.normal(0.93, 0.05), 0.5, 1.0))
        return HoldResult(
            onset_s=at_s,
            release_s=at_s + measured_s,
            duration_s=measured_s,
            duration_u_s=u_s,
            kind=kind,
            support=support,
            beta_mean=1.0 - measured_alpha,
            beta_u=u_alpha,
            alpha_mean=measured_alpha,
            alpha_u=u_alpha,
            alpha_p95=max(measured_alpha, 0.0) + 1.645 * wander,
            alpha_direct=True,
            clean_s=clean * measured_s,
            misclosure=float(rng.normal(0.0, 0.0008)),
            misclosure_u=0.0011,
            peak_N=weight_N * (1.0 - alpha) * float(rng.uniform(1.08, 1.25)),
            dose_bw_s=(1.0 - measured_alpha) * measured_s,
            lateral_m=float(rng.normal(0.5 - member.body.left_share, 0.006)),
            lateral_u_m=0.002,
            swing=Swing(1.6 * swing_deg, swing_deg, member.body.swing_Hz, []),
            settle_s=float(rng.gamma(3.0, 0.7)),
            states=states,
            travel=travel,
            tremor_N=member.body.tremor_N * float(rng.uniform(0.8, 1.6)),
            touches=touches,
            flags=[],
        )

    def take_over(self, measured: list[StoredHold]) -> None:
        """Add holds that were measured, not drawn, to the member's."""
        self.holds += [replace(h) for h in measured]


def entry_days(rng: np.random.Generator, chance: float) -> list[int]:
    """Return the days on which something happens with a chance each."""
    return [day for day in range(DAYS) if rng.random() < chance]


def pains_of(days: MemberDays) -> list[dict[str, Any]]:
    """Return a member's entries of pain, as the store's columns: two a week, fading."""
    ache = days.member.ache
    if ache is None:
        return []
    made = []
    for day in range(0, DAYS, 4):
        level = ache.first * 2 ** (-day / ache.half_days) + float(days.rng.normal(0.0, 0.4))
        made.append(
            {
                "at_utc_ns": days.at(day, 20.0),
                "pain": int(np.clip(round(level), 0, 10)),
                "place": ache.place,
                "symptoms": [],
                "hold_uid": None,
                "item": None,
                "tried": list(ache.tried) if day else [],
                "note": "",
            }
        )
    return made
