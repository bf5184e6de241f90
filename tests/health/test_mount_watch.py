"""The load on the bar against the mount's working load: warned of on the screen and in the log, once per event."""

from __future__ import annotations

import dataclasses
import logging

import numpy as np
import pytest

from monitor.health.mount import NEAR, MountWatch
from monitor.measures.picture import Picture
from monitor.rig import Channel, Rig

RIG = Rig(
    "bar and platform",
    (Channel("left", "bar", -0.5), Channel("right", "bar", 0.5), Channel("foot", "platform")),
    mount_rating_N=2000.0,
)
NAMES = RIG.names


def picture(t_s: float, *loads_N: tuple[float, float, float]) -> Picture:
    rows = np.array(loads_N, dtype=float)
    return Picture(
        t_s=t_s, scene="hanging", scene_since_s=0.0, bar_N=700.0, feet_N=0.0, curve_names=NAMES,
        curve_t_s=t_s + np.arange(len(rows)) / 80, curve_N=rows,
    )  # fmt: skip


def test_an_ordinary_hang_gives_no_warning(caplog):
    watch = MountWatch(RIG)
    watch.see(picture(1.0, *[(799.0, 799.0, 900.0)] * 4))  # 1598 N on the bar; the platform is not the mount's
    assert watch.warnings() == []
    assert NEAR * 2000 == 1600
    assert caplog.records == []


def test_a_load_near_the_rating_warns_on_the_screen_and_once_in_the_log(caplog):
    caplog.set_level(logging.WARNING)
    watch = MountWatch(RIG)
    for n in range(20):
        watch.see(picture(1.0 + 0.05 * n, *[(900.0, 850.0, 0.0)] * 4))
    assert watch.warnings() == [
        "The bar carried 1750 N, 88 % of the mount's working load of 2000 N. No jumping, swinging or second person."
    ]
    assert len(caplog.records) == 1
    watch.see(picture(30.0, *[(200.0, 200.0, 0.0)] * 4))
    assert watch.warnings()  # for whoever comes by later
    watch.see(picture(700.0, *[(200.0, 200.0, 0.0)] * 4))
    assert watch.warnings() == []


def test_more_than_the_rating_says_stop(caplog):
    caplog.set_level(logging.WARNING)
    watch = MountWatch(RIG)
    watch.see(picture(1.0, *[(900.0, 850.0, 0.0)] * 4))
    watch.see(picture(1.1, *[(1200.0, 1000.0, 0.0)] * 4))
    assert "more than the mount's working load" in watch.warnings()[0]
    assert "qualified person" in watch.warnings()[0]
    assert len(caplog.records) == 2  # near, then beyond


@pytest.mark.parametrize("wild_N", [8000.0, np.nan])
def test_a_single_wild_or_missing_reading_is_no_load(wild_N):
    watch = MountWatch(RIG)
    watch.see(picture(1.0, (300.0, 300.0, 0.0), (300.0, wild_N, 0.0), (300.0, 300.0, 0.0), (300.0, 300.0, 0.0)))
    assert watch.warnings() == []


def test_without_a_rating_or_without_a_bar_nothing_can_be_said():
    heavy = picture(1.0, *[(9000.0, 9000.0, 0.0)] * 4)
    for rig in (
        dataclasses.replace(RIG, mount_rating_N=None),
        Rig("platform", (Channel("foot", "platform"),), mount_rating_N=100.0),
    ):
        watch = MountWatch(rig)
        watch.see(heavy)
        assert watch.warnings() == []
