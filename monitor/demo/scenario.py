"""The demo's story: invented people come to the bar one after the other, and the truth of what they did."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.demo.body import Body
from monitor.demo.people import INVENTED_PEOPLE, Person
from monitor.demo.script import Script
from monitor.demo.truth import HoldTruth, Witness

Array = NDArray[np.float64]

EMPTY_s = 6.0
"""How long the rig stands empty between two people."""

_INTERNAL_RATE_Hz = 960.0


def assisted_then_passive(script: Script) -> None:
    """Play an assisted hang with the feet getting lighter, a rest, a passive hang with shoulder work and a regrip."""
    script.wait(0.6)
    script.step_on()
    script.stand(4.0)
    script.reach_up()
    script.hang_assisted(0.20)
    script.wait(2.0)
    script.shift_feet(0.08, 16.0)
    script.wait(1.6)
    script.let_go_from_assisted()
    script.stand(8.0)
    script.reach_up()
    script.hang()
    script.wait(1.2)
    script.swing(2.2)
    script.wait(5.5)
    script.shoulders(0.042, 0.8)
    script.wait(3.6)
    script.shoulders(-0.042, 0.9)
    script.wait(3.4)
    script.regrip()
    script.wait(3.5)
    script.let_go()
    script.stand(3.0)
    script.step_off()


def passive_with_touch(script: Script) -> None:
    """Play a lean and a tug, which are no holds, then a long passive hang with a bigger swing and a foot's touch."""
    script.wait(0.6)
    script.step_on()
    script.stand(4.0)
    script.lean(0.07, 2.5)
    script.wait(0.8)
    script.tug(0.35)
    script.stand(2.5)
    script.reach_up()
    script.hang()
    script.wait(3.0)
    script.swing(4.5)
    script.wait(11.0)
    script.touch(0.11)
    script.wait(6.0)
    script.shoulders(0.05, 0.9)
    script.wait(4.0)
    script.let_go()
    script.stand(4.0)
    script.step_off()


def assisted_and_one_hand(script: Script) -> None:
    """Play an assisted hang whose feet grow heavier, a hop, and a passive hang from one hand and the other."""
    script.wait(0.6)
    script.step_on()
    script.stand(4.0)
    script.reach_up()
    script.hang_assisted(0.10)
    script.wait(3.0)
    script.shift_feet(0.26, 14.0)
    script.wait(1.0)
    script.let_go_from_assisted()
    script.stand(4.0)
    script.hop()
    script.stand(4.0)
    script.reach_up()
    script.hang()
    script.wait(4.0)
    script.change_hands(True, 2.6)
    script.wait(3.0)
    script.change_hands(False, 2.4)
    script.wait(3.0)
    script.let_go()
    script.stand(3.0)
    script.step_off()


def passive_with_third_support(script: Script) -> None:
    """Play a passive hang in which a door frame takes a tenth of the weight for a while, and an assisted hang."""
    script.wait(0.6)
    script.step_on()
    script.stand(4.0)
    script.reach_up()
    script.hang()
    script.wait(6.0)
    script.third_support(0.10, 8.0)
    script.wait(6.0)
    script.let_go()
    script.stand(8.0)
    script.reach_up()
    script.hang_assisted(0.30)
    script.wait(3.0)
    script.shift_feet(0.18, 10.0)
    script.wait(1.0)
    script.let_go_from_assisted()
    script.stand(3.0)
    script.step_off()


Programme = Callable[[Script], None]

PROGRAMMES: tuple[Programme, ...] = (
    assisted_then_passive,
    passive_with_touch,
    assisted_and_one_hand,
    passive_with_third_support,
)
"""What the people do, in turn."""


class Scenario:
    """True loads of a row of invented people, conversion by conversion, and the truth of their holds.

    The same seed gives the same story. A reading is the mean of the load over the sample interval before it.

    Parameters
    ----------
    seed : int
    rate_Hz : float
        Conversions per second.
    sessions : int or None
        How many people come; None: without end.
    people, programmes : sequences
        Taken in turn.
    """

    def __init__(
        self,
        seed: int = 0,
        rate_Hz: float = 80.0,
        *,
        sessions: int | None = None,
        people: Sequence[Person] = INVENTED_PEOPLE,
        programmes: Sequence[Programme] = PROGRAMMES,
    ) -> None:
        self.rate_Hz = rate_Hz
        self._seed = seed
        self._sessions = sessions
        self._people = people
        self._programmes = programmes
        self._substeps = max(1, math.ceil(_INTERNAL_RATE_Hz / rate_Hz))
        self.chunk = 10 * math.ceil(rate_Hz / 10)
        """Conversions that ``advance`` gives at once: about a second."""
        steps = self.chunk * self._substeps
        self._parts = next(p for p in (12, 10, 8, 6, 5) if steps % p == 0)
        self._holds: list[HoldTruth] = []
        self._next_session = 0
        self._chunks_left = 0
        self._chunks_done = 0
        self._offset_s = 0.0
        self._body: Body | None = None
        self._witness: Witness | None = None

    def advance(self) -> Array:
        """Return the next chunk, (chunk, 6) N: bar left, bar right, foot fl, fr, rl, rr; (0, 6) at the end."""
        if self._chunks_left == 0 and not self._begin():
            return np.empty((0, 6))
        assert self._body is not None
        assert self._witness is not None
        step_s = 1.0 / (self.rate_Hz * self._substeps)
        loads = self._body.advance(self.chunk * self._substeps, step_s, self._parts)
        self._holds += self._witness.push(self._offset_s + loads.t_s, loads.bar_N, loads.platform_N, loads.swing_rad)
        self._chunks_left -= 1
        self._chunks_done += 1
        return np.asarray(loads.cells_N.reshape(self.chunk, self._substeps, 6).mean(axis=1))

    def truth_until(self, t_s: float) -> list[HoldTruth]:
        """Return the holds that were over at a time in seconds since the first conversion began.

        Only as far as the story was played: a hold is known once the bar was free for about a second.
        """
        return [hold for hold in self._holds if hold.release_s <= t_s]

    @property
    def played_s(self) -> float:
        """How far the story was played, in seconds since the first conversion began."""
        return self._chunks_done * self.chunk / self.rate_Hz

    def _begin(self) -> bool:
        """Let the next person come; False when nobody is left."""
        number = self._next_session
        if self._sessions is not None and number >= self._sessions:
            return False
        self._next_session += 1
        rng = np.random.default_rng([self._seed, number])
        person = self._people[number % len(self._people)]
        script = Script(person, rng)
        self._programmes[number % len(self._programmes)](script)
        script.wait(EMPTY_s)
        self._offset_s = self.played_s
        self._chunks_left = math.ceil(script.now_s * self.rate_Hz / self.chunk)
        self._body = Body(person, script.plan, rng)
        events = [
            dataclasses.replace(d, start_s=d.start_s + self._offset_s, end_s=d.end_s + self._offset_s)
            for d in script.events
        ]
        self._witness = Witness(person.name, person.weight_N, events)
        return True
