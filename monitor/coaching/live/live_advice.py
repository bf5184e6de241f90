"""Advice during a hold: reserve used and time left, once a second, for whoever hangs."""

from __future__ import annotations

import threading
from dataclasses import asdict, dataclass
from typing import Any

from monitor.coaching.endurance.curve import Posterior
from monitor.coaching.endurance.forecast import Reserve, RunningReserve
from monitor.measures.picture import Picture

EVERY_s = 1.0
"""How often the advice is renewed (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LiveAdvice:
    """What a screen shows beside the running hold.

    Attributes
    ----------
    person_uid : str or None
        None for a guest, for whom nothing is known of endurance.
    item : str or None
        Key of the prescribed item.
    target_s, alpha_max : float or None
        What is prescribed now.
    hold_s : float or None
        The running hold's time; None between holds.
    reserve : Reserve or None
        Of the running hold, from its second second on.
    """

    person_uid: str | None = None
    item: str | None = None
    target_s: float | None = None
    alpha_max: float | None = None
    hold_s: float | None = None
    reserve: Reserve | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the advice as plain data."""
        return asdict(self)


class LiveCoaching:
    """Takes every picture in the pipeline's thread and returns at once; ``now`` may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._base = LiveAdvice()
        self._now = self._base
        self._posterior: Posterior | None = None
        self._running: RunningReserve | None = None
        self._onset_s: float | None = None
        self._last_s = 0.0

    def set_person(
        self,
        person_uid: str | None,
        posterior: Posterior | None = None,
        *,
        item: str | None = None,
        target_s: float | None = None,
        alpha_max: float | None = None,
    ) -> None:
        """Set who hangs and what is prescribed to them; a hold in progress keeps what it began with."""
        with self._lock:
            self._posterior = posterior
            self._base = LiveAdvice(person_uid, item, target_s, alpha_max)
            if self._onset_s is None or self._now.person_uid != person_uid:
                self._running, self._onset_s = None, None
                self._now = self._base

    def now(self) -> LiveAdvice:
        """Return the newest advice."""
        return self._now

    def take(self, picture: Picture) -> None:
        """Take a picture; about once a second of a running hold the reserve is computed anew."""
        clock = picture.hold
        with self._lock:
            if clock is None or clock.ended:
                if self._onset_s is not None:
                    self._running, self._onset_s = None, None
                    self._now = self._base
                return
            if self._onset_s is None or clock.onset_s != self._onset_s:
                self._onset_s, self._last_s = clock.onset_s, 0.0
                self._running = RunningReserve(self._posterior) if self._posterior is not None else None
            since_s = clock.time_s - self._last_s
            if since_s < EVERY_s:
                return
            self._last_s = clock.time_s
            reserve = None
            if self._running is not None and picture.beta is not None:
                self._running.push(picture.beta, since_s)
                reserve = self._running.now()
            base = self._base
            self._now = LiveAdvice(base.person_uid, base.item, base.target_s, base.alpha_max, clock.time_s, reserve)
