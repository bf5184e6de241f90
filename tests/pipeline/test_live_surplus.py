"""Load that is not the hanging person's: the live pictures say it as the stored hold does."""

from __future__ import annotations

import functools

import pytest
from load_stories import BODYWEIGHT_N, Points, blocks_of, cut, loads
from test_pipeline_cuts import assert_equal, run

from monitor.measures.picture import Picture
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Output, SessionMeasured

COACH_ON_S, COACH_OFF_S = 16.0, 22.0
"""From the first instant to the last one a coach of 1.1 bodyweights, more than the person, stands on the platform."""

STANCE: Points = ((0, 0, 0), (2, 0, 0), (2.2, 0, 1), (6, 0, 1))
COACH: Points = (
    *STANCE,
    (6.2, 0.9, 0.1),
    (COACH_ON_S, 0.9, 0.1),
    (COACH_ON_S + 0.3, 0.9, 1.2),
    (COACH_OFF_S - 0.3, 0.9, 1.2),
    (COACH_OFF_S, 0.9, 0.1),
    (30, 0.9, 0.1),
    (30.2, 0, 1),
    (33, 0, 1),
    (33.2, 0, 0),
    (38, 0, 0),
)


def blocks() -> list[LoadBlock]:
    return blocks_of(*loads(COACH))


@functools.cache
def coached() -> Output:
    return run(blocks(), live=True)


def between(start_s: float, end_s: float, pictures: list[Picture] | None = None) -> list[Picture]:
    return [picture for picture in pictures or coached().pictures if start_s < picture.t_s < end_s]


def test_a_coach_on_the_platform_is_a_surplus_and_its_shares_are_withheld():
    # 2.5 % of bodyweight in the mean of two seconds for half a second: within 0.8 s of stepping on.
    during = between(COACH_ON_S + 2.5, COACH_OFF_S)
    assert during
    for picture in during:
        assert picture.scene == "hanging"
        assert 0.5 < picture.surplus < 1.2
        assert (picture.beta, picture.u_beta, picture.alpha, picture.u_alpha) == (None, None, None, None)
        assert picture.bodyweight_N == pytest.approx(BODYWEIGHT_N, abs=1)
    first = next(picture for picture in coached().pictures if picture.surplus is not None)
    assert COACH_ON_S + 0.5 < first.t_s < COACH_ON_S + 0.8
    for picture in [*between(9, COACH_ON_S), *between(COACH_OFF_S + 2.1, 30)]:
        assert picture.surplus is None
        assert picture.alpha == pytest.approx(0.1, abs=0.01)


def test_the_live_page_and_the_stored_hold_say_the_same():
    [session] = [event for event in coached().events if isinstance(event, SessionMeasured) and event.final]
    [hold] = session.result.holds
    [surplus] = hold.surplus_load
    shown = [picture.t_s for picture in coached().pictures if picture.surplus is not None]
    # The live mean lies behind by a second, and waits for half a second before it speaks.
    assert surplus.start_s + 0.5 < shown[0] < surplus.start_s + 1.7
    assert surplus.end_s < shown[-1] < surplus.end_s + 1.2


def test_no_picture_of_a_hang_has_more_than_the_whole_body_on_the_feet():
    hanging = [picture for picture in coached().pictures if picture.scene == "hanging"]
    assert any(picture.feet_N > BODYWEIGHT_N for picture in hanging)
    assert all(picture.alpha is None or picture.alpha <= 1 for picture in hanging)


def test_the_catch_is_no_surplus():
    jump: Points = (
        *STANCE,
        (6.1, 0, 0),
        (6.3, 1.4, 0),
        (7.2, 1.4, 0),
        (7.3, 1, 0),
        (16, 1, 0),
        (16.1, 0, 1),
        (18, 0, 1),
    )
    pictures = run(blocks_of(*loads(jump)), live=True).pictures
    assert any(picture.scene == "hanging" and picture.misclosure > 0.2 for picture in pictures if picture.misclosure)
    assert all(picture.surplus is None for picture in pictures)


@pytest.mark.parametrize("rows", [1, 7, 61])
def test_a_surplus_does_not_depend_on_the_cuts(rows):
    pieces = run(cut(blocks(), range(rows, len(loads(COACH)[0]), rows)), live=True)
    assert_equal(coached().pictures, pieces.pictures, "pictures")
    assert_equal(coached().events, pieces.events, "events")
