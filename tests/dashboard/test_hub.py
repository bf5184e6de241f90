"""The pipeline never waits for a screen, and a slow screen loses pictures but no samples."""

from __future__ import annotations

import asyncio
import json
import threading
import tracemalloc

import numpy as np
import pytest
from fake_rig import NAMES, RATE_HZ, FakeRig, loads_at
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.dashboard import LiveHub
from monitor.dashboard.live.curve_buffer import CurveBuffer
from monitor.dashboard.live.hub import EVENTS_PER_SCREEN, Screen


def publish(hub: LiveHub, rig: FakeRig, count: int) -> None:
    for _ in range(count):
        hub.publish(rig.next())


LOOP = asyncio.new_event_loop()
"""Open but idle between the steps of a test: a screen in it waits, and nobody reads."""


def joined(hub: LiveHub, loop: asyncio.AbstractEventLoop = LOOP) -> Screen:
    async def join() -> Screen:
        return hub.join()

    return loop.run_until_complete(join())


def test_a_screen_gets_the_newest_picture_and_the_count_of_skipped_ones():
    hub, rig = LiveHub(), FakeRig()
    screen = joined(hub)
    publish(hub, rig, 1)
    assert (screen.take().number, screen.take().picture) == (1, None)
    publish(hub, rig, 7)
    bundle = screen.take()
    assert bundle.number == 8
    assert bundle.skipped == 6
    assert bundle.picture.t_s == rig.t_s
    assert screen.take().skipped == 0


def test_a_new_screen_has_skipped_nothing_and_gets_the_curve_so_far():
    hub, rig = LiveHub(), FakeRig()
    publish(hub, rig, 100)
    bundle = joined(hub).take()
    assert bundle.skipped == 0
    assert bundle.curve.restart
    assert bundle.curve.t_s[-1] - bundle.curve.t_s[0] == pytest.approx(5.0 - 1 / RATE_HZ)


@settings(deadline=None, max_examples=40)  # a busy machine is no failure
@given(st.lists(st.integers(1, 90), min_size=1, max_size=8))
def test_a_screen_that_reads_within_30_s_gets_every_sample_once(pauses):
    hub, rig = LiveHub(keep_s=30.0), FakeRig()
    screen = joined(hub)
    got_t, got_N = [], []
    for pictures in pauses:  # at most 90 pictures of 0.05 s, far below 30 s
        publish(hub, rig, pictures)
        curve = screen.take().curve
        assert curve.lost == 0
        got_t.append(curve.t_s)
        got_N.append(curve.load_N)
    wanted = np.arange(int(rig.t_s * RATE_HZ)) / RATE_HZ
    assert np.array_equal(np.concatenate(got_t), wanted)
    assert np.array_equal(np.concatenate(got_N), loads_at(wanted))


def test_a_screen_that_sleeps_longer_is_told_how_many_samples_it_lost():
    hub, rig = LiveHub(keep_s=5.0), FakeRig()
    screen = joined(hub)
    publish(hub, rig, 1)
    screen.take()
    publish(hub, rig, 200)  # 10 s
    curve = screen.take().curve
    assert not curve.restart
    assert curve.lost + len(curve.t_s) == 200 * 4
    assert curve.t_s[-1] - curve.t_s[0] >= 5.0 - 1 / RATE_HZ


def test_a_new_clock_or_other_columns_start_the_curve_anew():
    curve_buffer = CurveBuffer(30.0)
    curve_buffer.append(("a",), np.array([10.0, 10.1]), np.zeros((2, 1)))
    place = curve_buffer.end
    curve_buffer.append(("a",), np.array([0.0, 0.1]), np.ones((2, 1)))
    piece = curve_buffer.since(place)
    assert piece.restart
    assert piece.t_s.tolist() == [0.0, 0.1]
    curve_buffer.append(("a", "b"), np.array([0.2]), np.ones((1, 2)))
    assert curve_buffer.since(None).names == ("a", "b")
    assert len(curve_buffer.since(None).t_s) == 1


def test_a_screen_that_never_reads_costs_no_memory():
    hub, rig = LiveHub(keep_s=2.0), FakeRig()
    screens = [joined(hub) for _ in range(50)]
    publish(hub, rig, 100)
    for i in range(2 * EVENTS_PER_SCREEN):
        hub.publish_event({"kind": "closed", "uid": str(i), "hold": None})
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    publish(hub, rig, 1000)
    for i in range(1000):
        hub.publish_event({"kind": "closed", "uid": str(i), "hold": None})
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    # 1000 pictures of 4 x 6 doubles are 190 kB, and 50 queues of them 9.6 MB; the tape of 2 s holds 40 of them.
    assert grown < 100_000
    bundle = screens[0].take()
    assert bundle.number == 1100
    assert len(bundle.events) == EVENTS_PER_SCREEN
    assert bundle.events_missed == 2 * EVENTS_PER_SCREEN + 1000 - EVENTS_PER_SCREEN
    assert bundle.events[-1]["uid"] == "999"


def test_events_reach_every_screen_in_order_and_once():
    hub = LiveHub()
    screens = [joined(hub) for _ in range(3)]
    for uid in "abc":
        hub.publish_event({"kind": "closed", "uid": uid, "hold": None})
    for screen in screens:
        assert [event["uid"] for event in screen.take().events] == ["a", "b", "c"]
        assert screen.take().events == []


def test_a_publisher_in_another_thread_wakes_every_waiting_screen():
    async def watch(hub: LiveHub) -> list[int]:
        screens = [hub.join() for _ in range(20)]
        publisher = threading.Thread(target=publish, args=(hub, FakeRig(), 1))
        publisher.start()
        woken = await asyncio.gather(*(screen.wait(60.0) for screen in screens))
        publisher.join()
        assert all(woken)
        return [screen.take().number for screen in screens]

    assert asyncio.run(watch(LiveHub())) == [1] * 20


def test_waiting_ends_when_nothing_comes():
    async def watch() -> bool:
        return await LiveHub().join().wait(0.01)

    assert asyncio.run(watch()) is False


def test_a_screen_whose_loop_is_gone_is_forgotten():
    hub, loop = LiveHub(), asyncio.new_event_loop()
    joined(hub, loop)
    assert hub.screens == 1
    loop.close()
    publish(hub, FakeRig(), 1)
    assert hub.screens == 0


def test_a_message_carries_no_nan_and_loads_to_a_tenth():
    hub = LiveHub()
    screen = joined(hub)
    rig = FakeRig()
    picture = rig.next()
    loads = np.full((2, len(NAMES)), 123.456)
    loads[1, 0] = np.nan
    object.__setattr__(picture, "curve_N", loads)
    object.__setattr__(picture, "curve_t_s", np.array([0.0125, 0.025]))
    object.__setattr__(picture, "beta", float("nan"))
    object.__setattr__(picture, "swing_deg", float("inf"))
    hub.publish(picture)
    message = json.loads(hub.message(screen.take()), parse_constant=pytest.fail)
    assert message["picture"]["beta"] is None
    assert message["picture"]["swing_deg"] is None
    assert message["curve"]["load_N"][0] == [123.5, None]
    assert message["curve"]["load_N"][1] == [123.5, 123.5]
    assert "curve_N" not in message["picture"]


def test_the_age_of_a_picture_counts_from_its_publishing():
    now_s = [100.0]
    hub = LiveHub(clock_s=lambda: now_s[0])
    assert hub.newest() == (0, None, None)
    publish(hub, FakeRig(), 1)
    now_s[0] = 103.5
    assert hub.newest()[:2] == (1, 3.5)
