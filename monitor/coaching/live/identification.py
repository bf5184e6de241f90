"""Who steps on: recognised by weight, confirmed by standing still, refused by stepping off. Nobody is named silently.

Weight is no identity: two people may weigh the same, and a stranger may weigh what somebody in the queue weighs. So a
name that follows from weight is shown and counted down before it counts, and whatever stays unsure is a guest's.
"""

from __future__ import annotations

import math
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.measures.picture import Picture

WEIGH_s = 1.5
"""A stance is weighed over so long (common practice, no source)."""

STILL_REL = 0.006
"""Scatter of the load, as a share of it, below which somebody stands still (common practice, no source)."""

CONFIRM_s = 3.0
"""Standing still so long under one's own name confirms it: long enough to read it and step off (common practice, no
source)."""

REFUSED_s = 60.0
"""A refused name is not offered again for so long, while another one fits (common practice, no source)."""

OFF_s = 0.3
"""The platform is free for so long before somebody counts as stepped off (common practice, no source)."""

DAY_U_REL, LATER_U_REL = 0.004, 0.012
"""Standard uncertainty of bodyweight later on the same day, and on another day, as a share of it: a drink, a jumper, a
meal (common practice, no source)."""

LEAST_U_REL = 0.003
"""A weight is never more certain than this share of it (common practice, no source)."""

FITS = 2.0
"""A weight fits somebody within so many standard uncertainties (JCGM 100:2008, 6.2: about 95 %)."""

State = Literal["off", "nobody", "weighing", "offered", "taken", "guest", "unsure", "crowded"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody of today's queue, with the last known weight (N) and its standard uncertainty now; None: unknown."""

    uid: str
    weight_N: float | None
    u_N: float | None

    def fits(self, weight_N: float, u_N: float) -> bool:
        """Say whether a weight may be theirs."""
        if self.weight_N is None or self.u_N is None:
            return False
        return abs(weight_N - self.weight_N) <= FITS * math.hypot(u_N, self.u_N)


@dataclass(frozen=True, slots=True)
class IdentificationState:
    """What a screen shows of the identification.

    Attributes
    ----------
    state : str
        ``off`` (no queue), ``nobody``, ``weighing``, ``offered`` (a name is counted down), ``taken`` (somebody is
        named), ``guest`` (nobody fits, or all were refused), ``unsure`` (a hold began before anybody was named),
        ``crowded`` (somebody else steps on before the session of the one before is over: a session has one owner).
    person_uid : str or None
        Who is offered or taken.
    left_s : int or None
        Seconds of standing still until an offer counts.
    others : int
        How many more of the queue weigh alike: stepping off and on offers the next one.
    """

    state: State = "off"
    person_uid: str | None = None
    left_s: int | None = None
    others: int = 0


@dataclass(frozen=True, slots=True)
class Named:
    """A decision: whose session it is from now on; None is a guest's."""

    person_uid: str | None


class Identification:
    """Follows the pictures of one rig; ``take`` is called in the pipeline's thread, the rest from any."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._queue: tuple[Candidate, ...] = ()
        self._named: str | None = None
        self._by_hand = False
        self._refused: dict[str, float] = {}
        self._now = IdentificationState()
        self._forget()

    def _forget(self) -> None:
        """Begin a new session."""
        self._loads: deque[tuple[float, float]] = deque()
        self._held = False
        self._holder: str | None = None
        self._stepped_off = False
        self._locked = False
        self._taken_N: float | None = None
        self._offer: str | None = None
        self._offered_s = 0.0
        self._others = 0
        self._empty_s: float | None = None

    # Settings of others

    def set_queue(self, candidates: Sequence[Candidate]) -> None:
        """Set who comes today, in order; with an empty queue nothing is offered and nobody is renamed."""
        with self._lock:
            self._queue = tuple(candidates)
            if not self._queue:
                self._now = IdentificationState()
            elif self._now.state == "off":
                self._now = IdentificationState("nobody")

    def set_named(self, uid: str | None, *, by_hand: bool) -> None:
        """Set who is named. A coach's choice holds for the session in progress, or for the next one."""
        with self._lock:
            self._named = uid
            if by_hand:
                self._by_hand = True
                self._offer = None
                if self._now.state not in ("off", "nobody"):
                    self._now = IdentificationState("taken", uid) if uid is not None else IdentificationState("guest")

    def end_session(self) -> None:
        """End the session: everybody has left the rig."""
        with self._lock:
            self._by_hand = False
            self._forget()
            self._now = IdentificationState("nobody") if self._queue else IdentificationState()

    def still_names(self, uid: str | None) -> bool:
        """Say whether a decision still holds: a coach may have named somebody else meanwhile."""
        with self._lock:
            return not self._by_hand and self._named == uid

    def now(self) -> IdentificationState:
        """Return what a screen shows."""
        return self._now

    # The pipeline's thread

    def take(self, picture: Picture) -> Named | None:
        """Take a picture; return a decision once there is one."""
        with self._lock:
            if not self._queue or picture.feet_N is None or picture.scene == "not_ready":
                return None
            if picture.scene == "empty":
                self._off(picture.t_s)
                return None
            self._empty_s = None
            if picture.scene == "standing":
                return self._standing(picture)
            self._loads.clear()
            if picture.scene == "hanging" and picture.hold is not None and not picture.hold.provisional:
                return self._hangs()
            return None

    def _off(self, t_s: float) -> None:
        self._loads.clear()
        if self._empty_s is None:
            self._empty_s = t_s
        if t_s - self._empty_s < OFF_s:
            return
        if self._offer is not None:
            self._refused[self._offer] = t_s
            self._offer = None
        self._stepped_off = self._held
        by_hand = self._by_hand and self._now.state in ("taken", "guest")
        if not self._locked and not by_hand:
            self._now = IdentificationState("nobody")

    def _hangs(self) -> Named | None:
        state = self._now.state
        if self._by_hand and state not in ("taken", "guest"):
            self._now = _state_of(self._named)
        elif state not in ("taken", "guest", "unsure"):
            # Somebody hangs who was not weighed, or did not wait: a guest, until they stand still under a name. After
            # somebody else's hold in the same session they stay a guest, since a session has one owner.
            self._locked = self._held and self._stepped_off
            self._held, self._holder, self._offer = True, None, None
            self._now = IdentificationState("guest" if self._locked else "unsure")
            return self._decide(None)
        self._held = True
        self._holder = self._now.person_uid
        return None

    def _standing(self, picture: Picture) -> Named | None:
        if self._locked:
            return None
        weighed = self._weigh(picture)
        if weighed is None:
            self._offered_s = picture.t_s  # moving restarts the countdown
            if self._now.state in ("nobody", "unsure"):
                self._now = IdentificationState("weighing")
            elif self._offer is not None:
                self._count(picture.t_s)
            return None
        weight_N, u_N = weighed
        if self._by_hand and self._now.state not in ("taken", "guest"):
            self._now, self._taken_N = _state_of(self._named), weight_N
            return None
        if self._now.state in ("taken", "guest"):
            self._still_the_same(weight_N, u_N)
            return None
        if self._now.state == "crowded":
            return None
        if self._offer is None:
            return self._offer_for(weight_N, u_N, picture.t_s)
        if not any(one.uid == self._offer and one.fits(weight_N, u_N) for one in self._queue):
            self._offer = None
            self._now = IdentificationState("weighing")
            return None
        if self._count(picture.t_s) > 0:
            return None
        uid, self._offer = self._offer, None
        self._refused.clear()
        return self._take(uid, weight_N)

    def _weigh(self, picture: Picture) -> tuple[float, float] | None:
        """Return the weight (N) and standard uncertainty of a stance once it has been still for long enough."""
        loads = self._loads
        loads.append((picture.t_s, (picture.bar_N or 0.0) + (picture.feet_N or 0.0)))
        while loads and loads[0][0] < picture.t_s - WEIGH_s - 1e-6:
            loads.popleft()
        if loads[-1][0] - loads[0][0] < 0.9 * WEIGH_s:
            return None
        values = np.array([load for _, load in loads])
        weight_N = float(np.median(values))
        if weight_N <= 0 or float(values.std()) > STILL_REL * weight_N:
            return None
        known_N = picture.bodyweight_u_N if picture.bodyweight_source == "standing" else None
        return weight_N, max(known_N or 0.0, LEAST_U_REL * weight_N)

    def _offer_for(self, weight_N: float, u_N: float, t_s: float) -> Named | None:
        fitting = [one.uid for one in self._queue if one.fits(weight_N, u_N)]
        self._refused = {uid: at_s for uid, at_s in self._refused.items() if 0 <= t_s - at_s < REFUSED_s}
        if fitting == [self._named] and self._named not in self._refused:
            return self._take(self._named, weight_N)  # the same person again, and nobody else weighs alike
        free = [uid for uid in fitting if uid not in self._refused]
        if not free:
            self._refused.clear()
            return self._take(None, weight_N)
        # Whoever was here last comes first, then the others in queue order.
        self._offer = self._named if self._named in free else free[0]
        self._offered_s = t_s
        self._others = len(fitting) - 1
        self._count(t_s)
        return None

    def _count(self, t_s: float) -> float:
        left_s = CONFIRM_s - (t_s - self._offered_s)
        self._now = IdentificationState("offered", self._offer, max(0, math.ceil(left_s - 1e-6)), self._others)
        return left_s

    def _take(self, uid: str | None, weight_N: float) -> Named | None:
        self._taken_N = weight_N
        if self._stepped_off and uid != self._holder:
            self._now = IdentificationState("crowded", uid)
            return None
        self._now = _state_of(uid)
        return self._decide(uid)

    def _still_the_same(self, weight_N: float, u_N: float) -> None:
        """Check that the named person still stands there: somebody else may have stepped on at once."""
        if self._taken_N is None:
            self._taken_N = weight_N
        if abs(weight_N - self._taken_N) > 2 * FITS * u_N:
            self._taken_N, self._by_hand, self._stepped_off = None, False, self._held
            self._now = IdentificationState("weighing")

    def _decide(self, uid: str | None) -> Named | None:
        if uid == self._named:
            return None
        self._named = uid
        return Named(uid)


def _state_of(uid: str | None) -> IdentificationState:
    return IdentificationState("guest") if uid is None else IdentificationState("taken", uid)
