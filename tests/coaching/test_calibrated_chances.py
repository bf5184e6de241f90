"""The stated probabilities come true, for invented people unlike the model's assumptions.

A thousand of them run with ``python -m tests.coaching_calibration``; here a fixed part.
"""

from __future__ import annotations

import pytest

from tests.coaching_calibration.people import Outcome, one_person
from tests.coaching_calibration.reliability import LEAST_CASES, assisted, brier, coverage, reliability

PEOPLE = 300
"""The known chances stand for what happens, so the noise is that of who was drawn. Over these people the standard error
of the coverage is 0.009, of the assisted chance 0.014 at most, of the chance in a fifth that is judged 0.010 at most:
every bound is at least three and a half of them wide."""


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return [one_person(seed) for seed in range(PEOPLE)]


def test_in_every_fifth_the_stated_share_holds_on(outcomes):
    judged = [fifth for fifth in reliability(outcomes) if fifth.cases >= LEAST_CASES]
    assert len(judged) >= 2
    assert max(fifth.off for fifth in judged) < 0.07


def test_six_assisted_holds_predict_the_unassisted_one(outcomes):
    base_rate = sum(o.true for o in outcomes) / len(outcomes)
    assert brier(outcomes) < 0.08 < base_rate * (1 - base_rate)


def test_intervals_contain_the_share_that_they_claim(outcomes):
    assert coverage(outcomes) == pytest.approx(0.8, abs=0.06)


def test_the_least_assistance_gives_the_target_as_often_as_stated(outcomes):
    stated, held = assisted(outcomes)
    assert held == pytest.approx(stated, abs=0.05)
    plain = [o for o in outcomes if not o.flag]
    assert len(plain) > 50
    assert {round(o.assisted_stated, 3) for o in plain} == {0.8}
    stated, held = assisted(plain)
    assert held == pytest.approx(stated, abs=0.05)
