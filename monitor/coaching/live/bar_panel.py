"""Beside the measurement, for the screen at the bar: who hangs, what is asked, the rest, who and what is next."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.errors import BadEntry
from monitor.coaching.live.identification import DAY_U_REL, LATER_U_REL, Candidate, Named, StepOn
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.coaching.local_time import local_day, local_zone_name, zone_of
from monitor.coaching.prescribing.day_prescription import sets_of_bout
from monitor.measures.picture import Picture
from monitor.records.person import Person
from monitor.store import HoldFilter

Shown = Literal["initials", "name", "nothing"]
"""How somebody is called on a screen that everybody sees."""

SETTING_KEY = "at_the_bar"
MOST_IN_QUEUE = 40
HOLDS_WITH_WEIGHT = 8
"""Somebody's weight is looked for in so many of their newest holds."""

_DAY_ns = 86_400 * 10**9


@dataclass(frozen=True, slots=True)
class RequestedHold:
    """The next set of whoever is named: item, target, band of help (fractions of bodyweight), number of the set, rest.

    ``paused`` tells why the item is paused, empty where it is not; ``next_at_utc_ms`` when the next set or bout is due.
    ``set_number`` is that of the set to come, 1 for the first.
    """

    item: str
    title: str
    kind: str
    target_s: float
    alpha: float
    alpha_max: float
    set_number: int
    sets: int
    rest_s: float
    paused: str
    next_at_utc_ms: int | None


class AtTheBar:
    """Knows today's queue and the one who is named. ``see`` runs in the pipeline's thread, the rest in any."""

    def __init__(
        self, coaching: CoachingService, live: LiveCoaching, *, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._coaching, self._live, self._monotonic_s = coaching, live, monotonic_s
        self._lock = threading.Lock()
        self.step_on = StepOn()
        self._uid: str | None = None
        self._asked: RequestedHold | None = None
        self._labels: dict[str, str] = {}
        self._released: dict[str | None, float] = {}
        self._hanging = False
        kept = coaching.store.get_setting(SETTING_KEY) or {}
        self._shown: dict[str, Shown] = dict(kept.get("shown", {}))
        today = kept.get("day") == self._today()
        self._queue: list[str] = list(kept.get("queue", [])) if today else []
        named = kept.get("named") if today else None
        self.named_before: str | None = named if named and coaching.store.people.get(named) is not None else None
        """Who was named when the program ended earlier on this day: they may still be there."""
        self._kept_named = self.named_before

    # The queue, and how people are called

    def queue(self) -> list[str]:
        """Return the uids of who comes today, in order."""
        return list(self._queue)

    def set_queue(self, uids: Sequence[str]) -> list[str]:
        """Say who comes today; kept for this day. Without anybody no name follows from a weight.

        Raises
        ------
        UnknownPerson, BadEntry
        """
        if len(set(uids)) != len(uids) or len(uids) > MOST_IN_QUEUE:
            raise BadEntry(
                what="The queue names somebody twice, or too many people.",
                means="It stays as it was.",
                do=f"Name everybody once, {MOST_IN_QUEUE} people at most.",
            )
        for uid in uids:
            self._coaching.person(uid)
        with self._lock:
            self._queue = list(uids)
            self._keep()
        self.renew_queue()
        return self.queue()

    def shown(self, uid: str) -> Shown:
        """Return how somebody is called on the wall: by their initials unless they chose otherwise."""
        return self._shown.get(uid, "initials")

    def set_shown(self, uid: str, how: Shown) -> None:
        """Keep how somebody wants to be called on the wall."""
        self._coaching.person(uid)
        with self._lock:
            self._shown[uid] = how
            self._keep()
        self.renew_queue()

    def _keep(self) -> None:
        self._kept_named = self._uid
        values = {"day": self._today(), "queue": self._queue, "shown": self._shown, "named": self._uid}
        self._coaching.store.set_setting(SETTING_KEY, values)

    def _today(self) -> str:
        return local_day(self._coaching.now_utc_ns(), zone_of(local_zone_name())).isoformat()

    def renew_queue(self) -> None:
        """Read names and weights of the queue anew; weights come from the newest hold of each. Not for fast threads."""
        labels = {person.uid: self._label(person) for person in self._coaching.everybody()}
        with self._lock:
            self._queue = [uid for uid in self._queue if uid in labels]
            queue = list(self._queue)
        self._labels = labels
        self.step_on.queue([self._candidate(uid) for uid in queue])

    def _candidate(self, uid: str) -> Candidate:
        newest, _ = self._coaching.store.find_holds(HoldFilter(person_uid=uid), HOLDS_WITH_WEIGHT)
        for hold in newest:
            if hold.bodyweight_N is not None and "bodyweight_from_the_hang" not in hold.result.flags:
                same_day = self._coaching.now_utc_ns() - hold.onset_utc_ns < _DAY_ns / 2
                u_rel = DAY_U_REL if same_day else LATER_U_REL
                return Candidate(
                    uid, hold.bodyweight_N, math.hypot(hold.bodyweight_u_N or 0.0, u_rel * hold.bodyweight_N)
                )
        return Candidate(uid, None, None)

    def _label(self, person: Person) -> str:
        how = self.shown(person.uid)
        if how == "nothing":
            return ""
        return person.name if how == "name" else initials(person.name)

    # Who is named, what is asked

    def hangs(self, uid: str | None, *, by_hand: bool) -> None:
        """Say who is named from now on; what is asked follows by ``prepare``."""
        if uid != self._uid:
            self._uid, self._asked = uid, None
        self.step_on.named(uid, by_hand=by_hand)
        self._live.hangs(uid)

    def prepare(self, item: str | None = None) -> None:
        """Reckon what is known of who is named and what is asked of them; takes a while."""
        uid = self._uid
        if uid != self._kept_named:
            with self._lock:
                self._keep()
        self.renew_queue()
        if uid is None:
            if self._uid is None:
                self._live.hangs(None)
            return
        prescription = self._coaching.prescribe(uid)
        holds = self._coaching.recent_holds(uid)
        now_ns = self._coaching.now_utc_ns()
        if holds and uid not in self._released:
            ago_s = (now_ns - holds[-1].onset_utc_ns) * 1e-9 - holds[-1].result.duration_s
            self._released[uid] = self._monotonic_s() - max(0.0, ago_s)
        wanted = prescription.item(item or prescription.next)
        if self._uid != uid:
            return  # somebody else was named meanwhile
        self._asked = None
        if wanted is not None:
            done = sets_of_bout(wanted, holds, now_ns)
            self._asked = RequestedHold(
                item=wanted.key,
                title=wanted.title,
                kind=wanted.kind,
                target_s=wanted.target_s,
                alpha=wanted.alpha,
                alpha_max=wanted.alpha_max,
                set_number=done % wanted.sets + 1,
                sets=wanted.sets,
                rest_s=wanted.rest_s,
                paused=wanted.paused,
                next_at_utc_ms=prescription.next_at_utc_ms,
            )
        self._live.hangs(
            uid,
            self._coaching.posterior(uid),
            item=wanted.key if wanted else None,
            target_s=wanted.target_s if wanted else None,
            alpha_max=wanted.alpha_max if wanted else None,
        )

    def forget(self, uid: str) -> None:
        """Forget somebody who is being erased."""
        with self._lock:
            if uid in self._shown or uid in self._queue or uid == self._kept_named:
                self._shown.pop(uid, None)
                self._queue = [one for one in self._queue if one != uid]
                self._keep()
        self._released.pop(uid, None)

    # The pipeline's thread

    def see(self, picture: Picture) -> Named | None:
        """Take a picture: the rest begins with a release, and whoever stands there may be named."""
        clock = picture.hold
        if clock is not None and not clock.ended:
            self._hanging = not clock.provisional
        elif self._hanging:
            self._hanging = False
            ago_s = 0.0 if clock is None else max(0.0, picture.t_s - clock.onset_s - clock.time_s)
            self._released[self._uid] = self._monotonic_s() - ago_s
        return self.step_on.see(picture)

    def left(self) -> None:
        """Take the end of a session."""
        self.step_on.left()

    # What a screen shows

    def view(self) -> dict[str, Any]:
        """Return everything that the screen at the bar tells beside the picture, as plain data, without full names.

        ``who.shown`` is the name or the initials as the person chose, empty for neither. ``rest.since_s`` is the time
        since the last release. What is reckoned by the coaching stands only there where somebody is named.
        """
        uid, asked, live = self._uid, self._asked, self._live.now()
        state = self.step_on.now()
        released_s = self._released.get(uid)
        reserve = None if live.reserve is None else asdict(live.reserve)
        short = None
        if live.reserve is not None and live.target_s is not None and live.hold_s is not None:
            short = live.reserve.left_s.value < live.target_s - live.hold_s
        return {
            "who": {"guest": uid is None, "shown": self._called(uid)},
            "asked": None if asked is None else asdict(asked),
            "target_s": live.target_s,
            "alpha": asked.alpha if asked is not None and asked.item == live.item else 0.0,
            "alpha_max": live.alpha_max,
            "short_of_target": short,
            "reserve": reserve,
            "rest": None
            if released_s is None
            else {
                "since_s": round(self._monotonic_s() - released_s, 1),
                "rest_s": asked.rest_s if asked is not None else None,
            },
            "due_in_s": self._due_in_s(asked),
            "step_on": {**asdict(state), "shown": self._called(state.person_uid)},
            "queue": [self._called(one) for one in self._queue],
            "next_up": self._next_up(),
        }

    def _due_in_s(self, asked: RequestedHold | None) -> float | None:
        """Return seconds until the next set or bout is due, by this machine's clock; 0 when it is due now."""
        if asked is None or asked.next_at_utc_ms is None:
            return None
        return round(max(0.0, asked.next_at_utc_ms / 1000 - self._coaching.now_utc_ns() * 1e-9), 1)

    def _next_up(self) -> str | None:
        """Return what the next one in the queue is called; None with nobody, or only the one who is there."""
        queue = self._queue
        if not queue or queue == [self._uid]:
            return None
        place = queue.index(self._uid) if self._uid in queue else -1
        return self._called(queue[(place + 1) % len(queue)])

    def _called(self, uid: str | None) -> str:
        return "" if uid is None else self._labels.get(uid, "")


def initials(name: str) -> str:
    """Return the first letter of each part of a name, a dot after each: Mara T. and Mara Tal are M. T."""
    return " ".join(f"{part[0].upper()}." for part in name.replace("-", " ").split() if part[0].isalnum())
