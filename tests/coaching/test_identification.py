"""Who steps on: nobody is named without a countdown on the screen, and whoever stays unsure is a guest's.

The tolerances (how far a bodyweight wanders in a day) are common practice, no source; the rules are those of
docs/live-page.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from monitor.coaching.live.identification import Candidate, CONFIRM_s, Identification, Named, WEIGH_s
from monitor.measures.picture import HoldClock, Picture

ANNA, BERT, CARL = Candidate("anna", 600.0, 3.0), Candidate("bert", 800.0, 3.0), Candidate("carl", 803.0, 3.0)
STEP_s = 0.05


class Rig:
    """Pictures at 20 a second of somebody who stands, hangs and leaves."""

    def __init__(self, *queue: Candidate) -> None:
        self.t_s = 0.0
        self.identification = Identification()
        self.identification.set_queue(queue)
        self.decisions: list[str | None] = []
        self._sway = np.random.default_rng(5)

    def show(self, scene: str, seconds: float, weight_N: float = 0.0, *, sway: float = 0.001) -> Identification:
        onset_s = self.t_s
        for _ in range(round(seconds / STEP_s)):
            self.t_s += STEP_s
            load_N = weight_N * (1 + sway * float(self._sway.normal()))
            hanging = scene == "hanging"
            clock = HoldClock(onset_s, self.t_s - onset_s, self.t_s - onset_s < 1.0, ended=False) if hanging else None
            picture = Picture(
                t_s=self.t_s, scene=scene, scene_since_s=onset_s, hold=clock,
                bar_N=load_N if hanging else 0.0, feet_N=0.0 if hanging else load_N, still=True,
            )  # fmt: skip
            named = self.identification.take(picture)
            if named is not None:
                self.decisions.append(named.person_uid)
        return self.identification

    def leave(self) -> None:
        """Leave for good: the session is over."""
        self.show("empty", 3.2)
        self.identification.end_session()

    @property
    def state(self) -> str:
        return self.identification.now().state


def test_a_weight_that_fits_one_is_offered_and_counts_after_standing_still():
    rig = Rig(ANNA, BERT)
    rig.show("standing", WEIGH_s + 0.2, 600.8)
    offer = rig.identification.now()
    assert (offer.state, offer.person_uid, offer.left_s, offer.others) == ("offered", "anna", 3, 0)
    assert rig.decisions == []
    rig.show("standing", CONFIRM_s, 600.8)
    assert rig.decisions == ["anna"]
    assert rig.state == "taken"


def test_stepping_off_refuses_and_the_next_of_like_weight_is_offered():
    rig = Rig(ANNA, BERT, CARL)
    rig.show("standing", 2.0, 801.0)
    assert rig.identification.now().person_uid == "bert"
    assert rig.identification.now().others == 1
    rig.show("empty", 1.0)
    rig.show("standing", 2.0, 801.0)
    assert rig.identification.now().person_uid == "carl"
    rig.show("standing", CONFIRM_s, 801.0)
    assert rig.decisions == ["carl"]


def test_whoever_refuses_all_is_a_guest():
    rig = Rig(BERT)
    rig.identification.set_named("bert", by_hand=False)
    rig.show("standing", WEIGH_s / 2, 800.0)
    rig.show("empty", 1.0)
    rig.show("standing", WEIGH_s + 0.2, 800.0)
    assert rig.state == "taken", "the one who was here last, and nobody else weighs alike"
    other = Rig(BERT)
    other.show("standing", 2.0, 800.0)
    other.show("empty", 1.0)
    other.show("standing", 2.0, 800.0)
    assert other.state == "guest"
    assert other.decisions == []


def test_a_stranger_by_weight_is_a_guest_and_not_who_was_here_before():
    rig = Rig(ANNA, BERT)
    rig.identification.set_named("anna", by_hand=False)
    rig.show("standing", 2.0, 700.0)
    assert rig.state == "guest"
    assert rig.decisions == [None]


def test_two_of_equal_weight_must_confirm_even_if_one_was_here_last():
    rig = Rig(BERT, CARL)
    rig.identification.set_named("carl", by_hand=False)
    rig.show("standing", 2.0, 801.0)
    assert rig.state == "offered"
    assert rig.identification.now().person_uid == "carl"
    assert rig.decisions == []


def test_who_does_not_wait_hangs_as_a_guest_and_may_tell_afterwards():
    rig = Rig(ANNA, BERT)
    rig.identification.set_named("bert", by_hand=False)
    rig.show("standing", 1.0, 600.0)
    rig.show("hanging", 5.0, 600.0)
    assert rig.state == "unsure"
    assert rig.decisions == [None]
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.3, 600.0)
    assert rig.decisions == [None, "anna"]


def test_after_stepping_off_nobody_takes_the_hold_of_somebody_unnamed():
    rig = Rig(ANNA)
    rig.show("hanging", 5.0, 600.0)
    rig.show("empty", 1.0)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.5, 600.0)
    assert "anna" not in rig.decisions
    assert rig.state == "crowded"


def test_somebody_else_in_the_same_session_never_inherits_the_name():
    rig = Rig(ANNA, BERT)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.3, 600.0)
    rig.show("hanging", 5.0, 600.0)
    rig.show("empty", 1.0)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.5, 800.0)
    assert rig.state == "crowded", "a session has one owner"
    assert rig.decisions == ["anna"]
    rig.show("hanging", 3.0, 800.0)
    assert rig.decisions == ["anna", None], "whoever cannot be distinguished is a guest"
    rig.leave()
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.3, 800.0)
    assert rig.decisions == ["anna", None, "bert"]


def test_somebody_who_steps_on_without_a_gap_is_noticed_by_weight():
    rig = Rig(ANNA, BERT)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.3, 600.0)
    rig.show("standing", WEIGH_s + 2 * STEP_s, 800.0)  # both feet at once, no instant of an empty platform
    assert rig.state in ("weighing", "offered")
    rig.show("standing", WEIGH_s + CONFIRM_s, 800.0)
    assert rig.decisions == ["anna", "bert"]


def test_a_coachs_word_counts_for_the_session_and_weight_does_not_argue():
    rig = Rig(ANNA, BERT)
    rig.identification.set_named("anna", by_hand=True)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.5, 800.0)
    rig.show("hanging", 4.0, 800.0)
    assert rig.decisions == []
    assert (rig.state, rig.identification.now().person_uid) == ("taken", "anna")
    rig.leave()
    rig.show("standing", 2.0, 800.0)
    assert rig.identification.now().person_uid == "bert", "the next session is not covered by it"


def test_a_decision_that_a_coach_overtook_does_not_hold():
    rig = Rig(ANNA)
    rig.show("standing", WEIGH_s + CONFIRM_s + 0.3, 600.0)
    assert rig.identification.still_names("anna")
    rig.identification.set_named("bert", by_hand=True)
    assert not rig.identification.still_names("anna")


def test_who_moves_is_not_confirmed():
    rig = Rig(ANNA)
    rig.show("standing", 2.0, 600.0)
    assert rig.state == "offered"
    rig.show("standing", CONFIRM_s + 2, 600.0, sway=0.03)
    assert rig.state == "offered"
    assert rig.decisions == []


@pytest.mark.parametrize("weight_N", [575.0, 620.0])
def test_the_band_is_two_standard_uncertainties(weight_N):
    rig = Rig(ANNA)
    rig.show("standing", 2.5, weight_N)
    assert rig.state == "guest"


def test_without_a_queue_nothing_is_offered_and_nobody_renamed():
    rig = Rig()
    rig.identification.set_named("anna", by_hand=False)
    rig.show("standing", 6.0, 800.0)
    rig.show("hanging", 4.0, 800.0)
    assert rig.state == "off"
    assert rig.decisions == []


def test_a_person_without_a_known_weight_is_never_offered():
    rig = Rig(Candidate("new", None, None), ANNA)
    rig.show("standing", 2.5, 700.0)
    assert rig.state == "guest"


def test_a_decision_is_a_value():
    assert Named(None) == Named(None) != Named("anna")
