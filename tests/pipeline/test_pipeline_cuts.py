"""However the stream is cut into blocks, pictures and results are the same to the last bit."""

from __future__ import annotations

import dataclasses
import functools
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from load_stories import RIG, TWO_SESSIONS, blocks_of, cut, eight_cells, loads, with_faults

from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Output, Pipeline, SessionMeasured
from monitor.rig import Rig

LOST = ((700, 3), (1403, 1), (1500, 30), (2000, 1))
UNHURRIED = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=6)


def run(blocks: list[LoadBlock], *, rig: Rig = RIG, rate_Hz: float = 80.0, live: bool) -> Output:
    pipeline, whole = Pipeline(rig, rate_Hz, AnalysisSettings(), live=live), Output()
    for out in [*(pipeline.push_load(block) for block in blocks), pipeline.flush()]:
        whole.events += out.events
        whole.pictures += out.pictures
    return whole


PLAIN = {float, int, str, bool, type(None)}


@functools.cache
def names_of(kind: type) -> tuple[str, ...]:
    return tuple(f.name for f in dataclasses.fields(kind)) if dataclasses.is_dataclass(kind) else ()


def assert_equal(one: Any, other: Any, place: str) -> None:
    """Compare all fields of two values: arrays bit by bit (NaN equals NaN), numbers exactly."""
    assert type(one) is type(other), place
    if isinstance(one, np.ndarray):
        same_form = (one.dtype, one.shape) == (other.dtype, other.shape)
        if not same_form or one.tobytes() != other.tobytes():
            np.testing.assert_array_equal(one, other, err_msg=place)
    elif names := names_of(type(one)):
        for name in names:
            a, b = getattr(one, name), getattr(other, name)
            # Most are plain and the same; only for the rest it is worth saying where they are.
            if type(a) is not type(b) or type(a) not in PLAIN or a != b:
                assert_equal(a, b, f"{place}.{name}")
    elif isinstance(one, (list, tuple)):
        assert len(one) == len(other), place
        for number, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_equal(a, b, f"{place}[{number}]")
    else:
        assert one == other, place


@functools.cache
def story(kind: str) -> tuple[Rig, float, tuple[LoadBlock, ...]]:
    rig, rate_Hz = (eight_cells(), 200.0) if kind == "eight cells" else (RIG, 80.0)
    t_s, load_N = loads(TWO_SESSIONS, rig=rig, rate_Hz=rate_Hz)
    blocks = blocks_of(t_s, with_faults(load_N), LOST)
    if kind == "two segments":
        other_s, other_N = loads(TWO_SESSIONS[3:], seed=9)
        blocks += blocks_of(other_s, with_faults(other_N), [(100, 2), (1000, 900)], segment=1)
    return rig, rate_Hz, tuple(blocks)


@functools.cache
def whole(kind: str, live: bool) -> Output:
    rig, rate_Hz, blocks = story(kind)
    return run(list(blocks), rig=rig, rate_Hz=rate_Hz, live=live)


def compare(kind: str, live: bool, at: list[int]) -> None:
    rig, rate_Hz, blocks = story(kind)
    pieces = run(cut(blocks, at), rig=rig, rate_Hz=rate_Hz, live=live)
    assert_equal(whole(kind, live).events, pieces.events, "events")
    assert_equal(whole(kind, live).pictures, pieces.pictures, "pictures")


@pytest.mark.parametrize("live", [False, True], ids=["recorded", "live"])
def test_the_story_shows_what_the_cuts_must_not_change(live):
    out = whole("six cells", live)
    final = [e.result for e in out.events if isinstance(e, SessionMeasured) and e.final]
    assert [len(result.holds) for result in final] == [1, 1]
    assert final[0].holds[0].regrips
    assert all(result.quality.lost > 0 and result.quality.spikes > 5 for result in final)
    assert bool(out.pictures) is live


@pytest.mark.parametrize("live", [False, True], ids=["recorded", "live"])
@UNHURRIED
@given(at=st.lists(st.integers(0, 3040), max_size=60))
def test_any_cuts(live, at):
    compare("six cells", live, at)


@pytest.mark.parametrize("kind", ["six cells", "eight cells", "two segments"])
@pytest.mark.parametrize("live", [False, True], ids=["recorded", "live"])
@pytest.mark.parametrize("rows", [1, 7, 8, 333])
def test_even_cuts(kind, live, rows):
    if rows == 1 and kind == "eight cells":
        rows = 3  # 7600 single rows take their time and show nothing that three do not
    compare(kind, live, list(range(0, 12_000, rows)))


@pytest.mark.parametrize("kind", ["six cells", "two segments"])
def test_the_live_results_end_as_the_recorded_ones(kind):
    live = [e for e in whole(kind, True).events if not (isinstance(e, SessionMeasured) and not e.final)]
    assert_equal(whole(kind, False).events, live, "events")
    so_far = [e for e in whole(kind, True).events if isinstance(e, SessionMeasured) and not e.final]
    assert so_far, "no hold was measured while its session went on"
    for event in so_far:
        # What was told when the hold ended is what is told in the end, but for zeros and bodyweight read later.
        final = next(
            e for e in whole(kind, True).events if isinstance(e, SessionMeasured) and e.session == event.session
        )
        assert event.result.holds[0].onset_s == pytest.approx(final.result.holds[0].onset_s, abs=0.002)
        assert event.result.holds[0].release_s == pytest.approx(final.result.holds[0].release_s, abs=0.002)


def test_a_hold_is_measured_soon_after_it_ended_even_if_the_next_has_begun():
    points = [(0, 0, 0), (2, 0, 0), (2.2, 0, 1), (5, 0, 1), (5.1, 1, 0), (12, 1, 0), (12.1, 0, 1), (13.2, 0, 1)]
    points += [(13.3, 1, 0), (22, 1, 0), (22.1, 0, 1), (25, 0, 1)]
    so_far = [e for e in run(blocks_of(*loads(points)), live=True).events if isinstance(e, SessionMeasured)]
    assert [e.final for e in so_far] == [False, False, True]
    # The second hold goes on while the first is told: it is no result yet.
    assert [len(e.result.holds) for e in so_far] == [1, 2, 2]
    assert so_far[0].result.holds[0].release_s == pytest.approx(12.05, abs=0.02)
