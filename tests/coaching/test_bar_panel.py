"""The panel at the bar: who is named, whose rest runs, who is next."""

from __future__ import annotations

import pytest

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.measures.picture import HoldClock, Picture
from monitor.store import open_store


class Now:
    """A monotonic clock that stands still."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def coaching(tmp_path):
    with open_store(tmp_path / "holds.sqlite") as store:
        yield CoachingService(store)


def panel_of(coaching: CoachingService, now: Now | None = None) -> tuple[BarPanel, LiveCoaching]:
    live = LiveCoaching()
    return BarPanel(coaching, live, monotonic_s=now or Now()), live


def hanging(t_s: float, *, ended: bool = False) -> Picture:
    return Picture(t_s, "hanging", 0.0, hold=HoldClock(10.0, min(t_s, 30.0) - 10.0, False, ended))


def test_whoever_is_named_is_named_to_the_live_advice_and_to_the_identification(coaching):
    mara = coaching.add_person("Mara Tal").uid
    panel, live = panel_of(coaching)
    panel.set_queue([mara])
    panel.set_person(mara, by_hand=True)
    assert live.now().person_uid == mara
    assert panel.view()["who"] == {"guest": False, "shown": "M. T."}
    # Standing still under a coach's choice confirms it: nobody else is offered.
    for tick in range(80):
        panel.take(Picture(tick / 20, "standing", 0.0, bar_N=0.0, feet_N=600.0))
    assert (panel.identification.now().state, panel.identification.now().person_uid) == ("taken", mara)


def test_who_was_named_is_known_after_a_restart_on_the_same_day(coaching):
    mara = coaching.add_person("Mara Tal").uid
    panel, _ = panel_of(coaching)
    assert panel.named_before is None
    panel.set_person(mara, by_hand=True)
    panel.prepare()
    assert panel_of(coaching)[0].named_before == mara
    panel.set_person(None, by_hand=True)
    panel.prepare()
    assert panel_of(coaching)[0].named_before is None


def test_somebody_who_is_erased_was_never_named(coaching):
    mara = coaching.add_person("Mara Tal").uid
    panel, _ = panel_of(coaching)
    panel.set_queue([mara])
    panel.set_person(mara, by_hand=True)
    panel.prepare()
    panel.set_person(None, by_hand=True)
    panel.forget(mara)
    again, _ = panel_of(coaching)
    assert (again.named_before, again.queue()) == (None, [])


def test_the_rest_counts_from_the_release_of_whoever_hung(coaching):
    mara = coaching.add_person("Mara Tal").uid
    now = Now()
    panel, _ = panel_of(coaching, now)
    panel.set_person(mara, by_hand=True)
    panel.take(hanging(29.0))
    assert panel.view()["rest"] is None
    panel.take(hanging(32.5, ended=True))  # released 2.5 s before this picture
    assert panel.view()["rest"]["since_s"] == 2.5
    now.s += 4.0
    assert panel.view()["rest"]["since_s"] == 6.5
    panel.set_person(None, by_hand=True)
    assert panel.view()["rest"] is None


def test_the_next_one_in_the_queue_follows_whoever_is_named(coaching):
    uids = [coaching.add_person(name).uid for name in ("Ada B", "Cai D", "Eva F")]
    panel, _ = panel_of(coaching)
    assert panel.view()["next_up"] is None
    panel.set_queue(uids)
    assert panel.view()["next_up"] == "A. B."  # nobody is named yet
    following = []
    for uid in uids:
        panel.set_person(uid, by_hand=True)
        following.append(panel.view()["next_up"])
    assert following == ["C. D.", "E. F.", "A. B."]
    panel.set_queue(uids[:1])
    panel.set_person(uids[0], by_hand=True)
    assert panel.view()["next_up"] is None


def test_a_blocked_person_gets_the_reason_and_neither_target_nor_band(coaching):
    mara = coaching.add_person("Mara Tal").uid
    coaching.take_intake(mara, {"pregnancy": True})
    panel, live = panel_of(coaching)
    panel.set_person(mara, by_hand=True)
    for item in (None, "assisted"):  # as prescribed, and chosen by the coach
        panel.prepare(item)
        view = panel.view()
        assert view["paused"].startswith("Pregnancy: ask a clinician before the first hang.")
        assert (view["requested"], view["target_s"], view["alpha_max"]) == (None, None, None)
        assert (live.now().item, live.now().target_s) == (None, None)
    coaching.take_intake(mara, {"pregnancy": True, "clinician_cleared": True})
    panel.prepare()
    assert (panel.view()["paused"], panel.view()["requested"]["item"]) == ("", "assisted")
    coaching.take_intake(mara, {"numbness": True})
    panel.prepare()
    assert panel.view()["paused"].startswith("Numbness")
    coaching.take_intake(mara, {"numbness": False})
    panel.prepare()
    assert panel.view()["paused"] == ""


def test_somebody_in_pain_is_paused_at_the_bar_with_whom_to_ask(coaching):
    mara = coaching.add_person("Mara Tal").uid
    coaching.log_pain(mara, 6, place="shoulder")
    panel, _ = panel_of(coaching)
    panel.set_person(mara, by_hand=True)
    panel.prepare()
    view = panel.view()
    assert "pain 6 of 10 in the shoulder" in view["paused"]
    assert "Ask a physiotherapist or a physician." in view["paused"]
    assert (view["target_s"], view["alpha_max"]) == (None, None)
