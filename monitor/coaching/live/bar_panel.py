"""The screen at the bar: who hangs, what is prescribed, the rest, who and what is next."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.errors import BadEntry
from monitor.coaching.live.identification import DAY_U_REL, LATER_U_REL, Candidate, Identification, Named
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.coaching.local_time import local_day, local_zone_name, zone_of
from monitor.coaching.prescribing.bouts import sets_of_bout
from monitor.measures.picture import Picture
from monitor.records.person import Person
from monitor.store import HoldFilter

Shown = Literal["initials", "name", "nothing"]
"""How somebody is named on a screen that everybody can read."""

SETTING_KEY = "at_the_bar"
MOST_IN_QUEUE = 40
"""People in a day's queue (common practice, no source)."""

HOLDS_WITH_WEIGHT = 8
"""A weight is searched in so many of somebody's newest holds (common practice, no source)."""

_DAY_ns = 86_400 * 10**9


@dataclass(frozen=True, slots=True)
class RequestedHold:
    """The next set of the named person: item, target, band of help (fractions of bodyweight), number of the set, rest.

    ``paused`` is why the item is paused, empty where it is not; ``next_at_utc_ms`` is when the next set or bout is due.
    ``set_number`` counts from 1.
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


class BarPanel:
    """Holds today's queue and who is named. ``take`` runs in the pipeline's thread, the rest in any."""

    def __init__(
        self, coaching: CoachingService, live: LiveCoaching, *, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._coaching, self._live, self._monotonic_s = coaching, live, monotonic_s
        self._lock = threading.Lock()
        self.identification = Identification()
        self._uid: str | None = None
        self._requested: RequestedHold | None = None
        self._paused = ""
        self._labels: dict[str, str] = {}
        self._released: dict[str | None, float] = {}
        self._hanging = False
        saved = coaching.store.get_setting(SETTING_KEY) or {}
        self._shown: dict[str, Shown] = dict(saved.get("shown", {}))
        today = saved.get("day") == self._today()
        self._queue: list[str] = list(saved.get("queue", [])) if today else []
        named = saved.get("named") if today else None
        self.named_before: str | None = named if named and coaching.store.people.get(named) is not None else None
        """Who was named when the program ended earlier today: they may still be there."""
        self._saved_named = self.named_before

    # The queue, and how people are named

    def queue(self) -> list[str]:
        """Return the uids of who comes today, in order."""
        return list(self._queue)

    def set_queue(self, uids: Sequence[str]) -> list[str]:
        """Set who comes today; saved for this day. With an empty queue nobody is recognised by weight.

        Raises
        ------
        UnknownPerson, BadEntry
        """
        if len(set(uids)) != len(uids) or len(uids) > MOST_IN_QUEUE:
            raise BadEntry(
                what="The queue names somebody twice, or too many people.",
                means="It is unchanged.",
                do=f"Name everybody once, {MOST_IN_QUEUE} people at most.",
            )
        for uid in uids:
            self._coaching.person(uid)
        with self._lock:
            self._queue = list(uids)
            self._save()
        self.renew_queue()
        return self.queue()

    def shown(self, uid: str) -> Shown:
        """Return how somebody is named on the wall: by their initials unless they chose otherwise."""
        return self._shown.get(uid, "initials")

    def set_shown(self, uid: str, how: Shown) -> None:
        """Save how somebody wants to be named on the wall."""
        self._coaching.person(uid)
        with self._lock:
            self._shown[uid] = how
            self._save()
        self.renew_queue()

    def _save(self) -> None:
        self._saved_named = self._uid
        values = {"day": self._today(), "queue": self._queue, "shown": self._shown, "named": self._uid}
        self._coaching.store.set_setting(SETTING_KEY, values)

    def _today(self) -> str:
        return local_day(self._coaching.now_utc_ns(), zone_of(local_zone_name())).isoformat()

    def renew_queue(self) -> None:
        """Reload names and weights of the queue; weights come from each person's newest hold. Reads the database."""
        labels = {person.uid: self._label(person) for person in self._coaching.everybody()}
        with self._lock:
            self._queue = [uid for uid in self._queue if uid in labels]
            queue = list(self._queue)
        self._labels = labels
        self.identification.set_queue([self._candidate(uid) for uid in queue])

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

    # Who is named, what is prescribed

    def set_person(self, uid: str | None, *, by_hand: bool) -> None:
        """Set who is named from now on; ``prepare`` adds what is prescribed."""
        if uid != self._uid:
            self._uid, self._requested, self._paused = uid, None, ""
        self.identification.set_named(uid, by_hand=by_hand)
        self._live.set_person(uid)

    def prepare(self, item: str | None = None) -> None:
        """Compute what is known of the named person and what is prescribed to them; takes a while."""
        uid = self._uid
        if uid != self._saved_named:
            with self._lock:
                self._save()
        self.renew_queue()
        if uid is None:
            if self._uid is None:
                self._live.set_person(None)
            return
        prescription = self._coaching.prescribe(uid)
        holds = self._coaching.recent_holds(uid)
        now_ns = self._coaching.now_utc_ns()
        if holds and uid not in self._released:
            ago_s = (now_ns - holds[-1].onset_utc_ns) * 1e-9 - holds[-1].result.duration_s
            self._released[uid] = self._monotonic_s() - max(0.0, ago_s)
        prescribed = prescription.item(item or prescription.next)
        if self._uid != uid:
            return  # somebody else was named meanwhile
        self._requested = None
        self._paused = prescription.paused or (prescribed.paused if prescribed is not None else "")
        if prescribed is not None:
            done = sets_of_bout(prescribed.rest_s, holds, now_ns)
            self._requested = RequestedHold(
                item=prescribed.key,
                title=prescribed.title,
                kind=prescribed.kind,
                target_s=prescribed.target_s,
                alpha=prescribed.alpha,
                alpha_max=prescribed.alpha_max,
                set_number=done % prescribed.sets + 1,
                sets=prescribed.sets,
                rest_s=prescribed.rest_s,
                paused=prescribed.paused,
                next_at_utc_ms=prescription.next_at_utc_ms,
            )
        self._live.set_person(
            uid,
            self._coaching.posterior(uid),
            item=prescribed.key if prescribed else None,
            target_s=prescribed.target_s if prescribed and not self._paused else None,
            alpha_max=prescribed.alpha_max if prescribed and not self._paused else None,
        )

    def forget(self, uid: str) -> None:
        """Forget somebody who is being erased."""
        with self._lock:
            if uid in self._shown or uid in self._queue or uid == self._saved_named:
                self._shown.pop(uid, None)
                self._queue = [one for one in self._queue if one != uid]
                self._save()
        self._released.pop(uid, None)

    # The pipeline's thread

    def take(self, picture: Picture) -> Named | None:
        """Take a picture: the rest begins with a release, and whoever stands there may be recognised."""
        clock = picture.hold
        if clock is not None and not clock.ended:
            self._hanging = not clock.provisional
        elif self._hanging:
            self._hanging = False
            ago_s = 0.0 if clock is None else max(0.0, picture.t_s - clock.onset_s - clock.time_s)
            self._released[self._uid] = self._monotonic_s() - ago_s
        return self.identification.take(picture)

    def end_session(self) -> None:
        """End the session."""
        self.identification.end_session()

    # What a screen shows

    def view(self) -> dict[str, Any]:
        """Return everything that the screen at the bar shows beside the picture, as plain data, without full names.

        ``who.shown`` is the name or the initials as the person chose, empty for neither. ``rest.since_s`` is the time
        since the last release. ``paused`` is why the named person does not hang now, with what to do; then there
        is neither target nor band. What the coaching computes is there only while somebody is named.
        """
        uid, requested, live = self._uid, self._requested, self._live.now()
        state = self.identification.now()
        released_s = self._released.get(uid)
        reserve = None if live.reserve is None else asdict(live.reserve)
        short = None
        if live.reserve is not None and live.target_s is not None and live.hold_s is not None:
            short = live.reserve.left_s.value < live.target_s - live.hold_s
        return {
            "who": {"guest": uid is None, "shown": self._name_on_wall(uid)},
            "paused": self._paused,
            "requested": None if requested is None else asdict(requested),
            "target_s": live.target_s,
            "alpha": requested.alpha if requested is not None and requested.item == live.item else 0.0,
            "alpha_max": live.alpha_max,
            "short_of_target": short,
            "reserve": reserve,
            "rest": None
            if released_s is None
            else {
                "since_s": round(self._monotonic_s() - released_s, 1),
                "rest_s": requested.rest_s if requested is not None else None,
            },
            "due_in_s": self._due_in_s(requested),
            "step_on": {**asdict(state), "shown": self._name_on_wall(state.person_uid)},
            "queue": [self._name_on_wall(one) for one in self._queue],
            "next_up": self._next_up(),
        }

    def _due_in_s(self, requested: RequestedHold | None) -> float | None:
        """Return seconds until the next set or bout is due, by this machine's clock; 0 when it is due now."""
        if requested is None or requested.next_at_utc_ms is None:
            return None
        return round(max(0.0, requested.next_at_utc_ms / 1000 - self._coaching.now_utc_ns() * 1e-9), 1)

    def _next_up(self) -> str | None:
        """Return the name of the next one in the queue; None without anybody else."""
        queue = self._queue
        if not queue or queue == [self._uid]:
            return None
        place = queue.index(self._uid) if self._uid in queue else -1
        return self._name_on_wall(queue[(place + 1) % len(queue)])

    def _name_on_wall(self, uid: str | None) -> str:
        return "" if uid is None else self._labels.get(uid, "")


def initials(name: str) -> str:
    """Return the first letter of each part of a name, a dot after each: Mara T. and Mara Tal are M. T."""
    return " ".join(f"{part[0].upper()}." for part in name.replace("-", " ").split() if part[0].isalnum())
