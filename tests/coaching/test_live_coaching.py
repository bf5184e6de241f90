"""The running hold: once a second, back to nothing between holds, nothing of a guest."""

from __future__ import annotations

import json

import pytest

from monitor.coaching.endurance.curve import fit_endurance
from monitor.coaching.endurance.effort import Effort
from monitor.coaching.endurance.forecast import RunningReserve
from monitor.coaching.live.live_advice import LiveAdvice, LiveCoaching
from monitor.measures.picture import HoldClock, Picture

KNOWN = fit_endurance([Effort(40.0, (0.8,), "exhausted")] * 6)


def picture(t_s: float, onset_s: float | None = 10.0, beta: float | None = 0.8, ended: bool = False) -> Picture:
    clock = None if onset_s is None else HoldClock(onset_s, t_s - onset_s, False, ended)
    return Picture(t_s, "hanging" if onset_s is not None else "standing", 0.0, hold=clock, beta=beta)


def test_the_reserve_runs_once_a_second():
    live = LiveCoaching()
    live.set_person("p", KNOWN, item="passive", target_s=45.0, alpha_max=0.2)
    assert live.now() == LiveAdvice("p", "passive", 45.0, 0.2)
    observed = []
    for k in range(1, 401):
        live.take(picture(10.0 + k / 20))
        if not observed or live.now() != observed[-1]:
            observed.append(live.now())
    assert len([s for s in observed if s.reserve is not None]) == 20
    assert observed[-1].hold_s == pytest.approx(20.0, abs=0.06)
    used = [s.reserve.used.value for s in observed if s.reserve]
    assert used == sorted(used)
    # The same load pushed in whole seconds by hand.
    by_hand = RunningReserve(KNOWN)
    by_hand.push(0.8, 20.0)
    assert observed[-1].reserve.used.value == pytest.approx(by_hand.now().used.value, rel=1e-3)
    assert observed[-1].reserve.left_s.value == pytest.approx(by_hand.now().left_s.value, rel=1e-2)
    assert json.dumps(observed[-1].as_dict(), allow_nan=False)


def test_between_holds_there_is_none_and_the_next_begins_anew():
    live = LiveCoaching()
    live.set_person("p", KNOWN)
    for k in range(1, 11):
        live.take(picture(10.0 + k))
    used = live.now().reserve.used.value
    live.take(picture(21.0, ended=True))
    assert live.now() == LiveAdvice("p")
    live.take(picture(30.0, None))
    live.take(picture(41.5, onset_s=40.0))
    assert live.now().reserve.used.value < used / 3


def test_of_a_guest_only_the_time_is_known():
    live = LiveCoaching()
    for k in range(1, 5):
        live.take(picture(10.0 + k))
    assert (live.now().person_uid, live.now().reserve, live.now().hold_s) == (None, None, pytest.approx(4.0))


def test_a_load_that_is_not_known_gives_no_reserve():
    live = LiveCoaching()
    live.set_person("p", KNOWN)
    live.take(picture(12.0, beta=None))
    assert live.now().reserve is None


def test_another_person_in_mid_hold_inherits_nothing():
    live = LiveCoaching()
    live.set_person("p", KNOWN)
    live.take(picture(15.0))
    assert live.now().reserve is not None
    live.set_person("q", None)
    assert live.now() == LiveAdvice("q")
    live.take(picture(17.0))
    assert (live.now().person_uid, live.now().reserve) == ("q", None)


def test_a_new_prescription_in_mid_hold_lets_the_hold_run_on():
    live = LiveCoaching()
    live.set_person("p", KNOWN, target_s=30.0)
    live.take(picture(15.0))
    before = live.now().reserve
    live.set_person("p", KNOWN, target_s=35.0)
    assert live.now().reserve == before
    live.take(picture(17.0))
    assert live.now().target_s == 35.0
    assert live.now().reserve.used.value > before.used.value
