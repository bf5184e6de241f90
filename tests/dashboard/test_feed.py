"""The feed over a real socket: beats, events, screens that read slowly, never, or by the dozen."""

from __future__ import annotations

import contextlib
import json
import socket
import time

import numpy as np
import pytest
from fake_rig import NAMES, FakeControl, FakeRig, FakeStore, Served, playing, served
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from monitor.dashboard import DashboardSettings, LiveHub, event_view
from monitor.measures.picture import Picture

DEADLINE_S = 120.0


def feed(dashboard: Served) -> ClientConnection:
    return connect(f"ws://127.0.0.1:{dashboard.port}/api/feed", open_timeout=DEADLINE_S)


def read(connection: ClientConnection, kind: str) -> dict:
    deadline_s = time.monotonic() + DEADLINE_S
    while True:
        message = json.loads(connection.recv(timeout=deadline_s - time.monotonic()))
        if message["type"] == kind:
            return message


def big_picture(number: int) -> Picture:
    """Return a picture with 20 s of curves, so that the system's buffers are soon full."""
    t_s = number * 20 + np.arange(1600) / 80
    loads = np.full((1600, len(NAMES)), 321.0)
    return Picture(t_s=t_s[-1], scene="empty", scene_since_s=0.0, curve_names=NAMES, curve_t_s=t_s, curve_N=loads)


def test_pictures_come_in_order_and_their_curves_join():
    with served() as dashboard, playing(dashboard.hub, speed=4), feed(dashboard) as connection:
        pictures = [read(connection, "picture") for _ in range(30)]
    numbers = [picture["number"] for picture in pictures]
    assert numbers == sorted(set(numbers))
    assert pictures[0]["curve"]["restart"] is True
    assert [picture["skipped"] for picture in pictures[1:]] == [int(step) - 1 for step in np.diff(numbers)]
    times = np.concatenate([picture["curve"]["t_s"] for picture in pictures])
    assert np.diff(times) == pytest.approx(1 / 80, abs=2e-4)


def test_a_beat_tells_age_health_and_settings_even_without_pictures():
    control = FakeControl(state={"link": {"condition": "absent", "reason": "gone", "do": "Plug it in."}})
    with served(control=control, settings=DashboardSettings(beat_s=0.05)) as dashboard, feed(dashboard) as connection:
        beat = read(connection, "beat")
        assert beat["age_s"] is None
        assert beat["health"]["link"]["do"] == "Plug it in."
        assert beat["settings"] == {"alpha_max": 0.1, "bodyweight_N": None}
        dashboard.hub.publish(FakeRig().next())
        read(connection, "picture")
        ages = [read(connection, "beat")["age_s"] for _ in range(3)]
        assert 0 <= ages[0] < ages[1] < ages[2]


def test_hold_events_reach_the_screen():
    store = FakeStore()
    with served(store=store) as dashboard, feed(dashboard) as connection:
        read(connection, "beat")
        dashboard.hub.publish_event(event_view("closed", "hold-0", store.holds[0]))
        dashboard.hub.publish_event(event_view("withdrawn", "hold-0"))
        closed = read(connection, "event")
        assert (closed["kind"], closed["uid"]) == ("closed", "hold-0")
        assert closed["hold"]["result"]["dose_bw_s"] == pytest.approx(18.4 * 0.96)
        assert read(connection, "event") == {"type": "event", "kind": "withdrawn", "uid": "hold-0", "hold": None}


def test_a_screen_that_never_reads_is_dropped_and_nobody_waits_for_it():
    with served(settings=DashboardSettings(send_timeout_s=0.3)) as dashboard, feed(dashboard) as reader:
        read(reader, "beat")
        deaf = socket.create_connection(("127.0.0.1", dashboard.port))
        deaf.sendall(
            f"GET /api/feed HTTP/1.1\r\nHost: 127.0.0.1:{dashboard.port}\r\nUpgrade: websocket\r\n"
            "Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
            .encode()
        )  # fmt: skip
        assert b"101" in deaf.recv(12)
        longest_s, number, deadline_s = 0.0, 0, time.monotonic() + DEADLINE_S
        while number < 5 or dashboard.hub.screens > 1:
            assert time.monotonic() < deadline_s, "the deaf screen was not dropped"
            started_s = time.perf_counter()
            dashboard.hub.publish(big_picture(number))
            longest_s = max(longest_s, time.perf_counter() - started_s)
            number += 1
            read(reader, "picture")
        deaf.close()
        print(f"longest publish beside a deaf screen: {longest_s * 1e3:.2f} ms, {number} pictures")
        dashboard.hub.publish(big_picture(number))
        assert read(reader, "picture")["number"] == number + 1


def test_a_slow_screen_gets_the_newest_picture_and_every_sample():
    with served() as dashboard, feed(dashboard) as slow:
        rig = FakeRig()
        dashboard.hub.publish(rig.next())
        first = read(slow, "picture")
        for _ in range(200):
            dashboard.hub.publish(rig.next())
        got, skipped = [first["curve"]["t_s"]], 0
        while got[-1][-1] < rig.t_s - 2 / 80:
            picture = read(slow, "picture")
            skipped += picture["skipped"]
            assert picture["curve"]["lost"] == 0
            got.append(picture["curve"]["t_s"])
    assert skipped + len(got) == 201
    assert np.concatenate(got) == pytest.approx(np.arange(int(rig.t_s * 80)) / 80, abs=1e-4)


def test_many_screens_see_the_same_picture():
    with served() as dashboard, contextlib.ExitStack() as open_feeds:
        screens = [open_feeds.enter_context(feed(dashboard)) for _ in range(25)]
        for screen in screens:
            read(screen, "beat")
        assert dashboard.hub.screens == 25
        dashboard.hub.publish(FakeRig(t_s=10.0).next())
        assert {read(screen, "picture")["picture"]["t_s"] for screen in screens} == {10.05}


def test_the_feed_ends_when_the_program_ends():
    hub = LiveHub()
    with contextlib.ExitStack() as open_feeds:
        with served(hub) as dashboard:
            connection = open_feeds.enter_context(feed(dashboard))
            read(connection, "beat")
        with pytest.raises(ConnectionClosed):
            read(connection, "picture")  # only beats are left in the line
    assert hub.screens == 0


def test_what_a_screen_sends_is_ignored():
    with served() as dashboard, feed(dashboard) as connection:
        connection.send("hello")
        connection.send(b"\x00" * 1000)
        dashboard.hub.publish(FakeRig().next())
        assert read(connection, "picture")["number"] == 1
