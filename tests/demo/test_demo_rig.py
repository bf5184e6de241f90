"""The demo rig as a whole: seeds, cuts, and its counts over the wire."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.clock import HostClock
from firmware_bridge.counts import NO_READING, CountBlock
from firmware_bridge.link import LinkSource
from firmware_bridge.virtual_board import VirtualBoard
from monitor.demo import PERFECT, DemoRig, Faults


def take(rig, n):
    counts, missed = rig.conversions(n)
    return counts.copy(), missed.copy()


def test_the_same_seed_gives_the_same_counts():
    one, again, other = (take(DemoRig(seed=seed), 3000) for seed in (5, 5, 6))
    np.testing.assert_array_equal(one[0], again[0])
    np.testing.assert_array_equal(one[1], again[1])
    assert not np.array_equal(one[0], other[0])


@functools.cache
def in_one_piece():
    return take(DemoRig(seed=2), 12 * 400)


@given(cuts=st.lists(st.integers(1, 400), min_size=1, max_size=12))
@settings(max_examples=15, deadline=None)
def test_counts_do_not_depend_on_how_they_are_requested(cuts):
    whole, missed = (part[: sum(cuts)] for part in in_one_piece())
    rig = DemoRig(seed=2)
    pieces = [take(rig, n) for n in cuts]
    assert [len(counts) for counts, _ in pieces] == cuts
    np.testing.assert_array_equal(np.concatenate([counts for counts, _ in pieces]), whole)
    np.testing.assert_array_equal(np.concatenate([mask for _, mask in pieces]), missed)


def test_one_at_a_time_equals_all_at_once():
    rig = DemoRig(seed=3)
    single = np.concatenate([take(rig, 1)[0] for _ in range(500)])
    np.testing.assert_array_equal(single, take(DemoRig(seed=3), 500)[0])


def test_a_finite_demo_ends_and_its_truth_stays_within_what_was_given():
    rig = DemoRig(seed=1, sessions=1)
    counts_so_far = []
    given = 0
    while len(counts := take(rig, 400)[0]):
        given += len(counts)
        assert rig.given_s == given / 80.0
        counts_so_far.append(len(rig.truth()))
        assert all(hold.release_s <= rig.given_s for hold in rig.truth())
    assert counts_so_far == sorted(counts_so_far)
    assert counts_so_far[-1] == 2


def test_the_rig_is_marked_as_invented_and_described():
    rig = DemoRig().rig
    assert rig.invented
    assert rig.names == ("bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr")
    assert [channel.x_m for channel in rig.channels] == [-0.55, 0.55, -0.25, 0.25, -0.25, 0.25]
    assert [channel.y_m for channel in rig.channels] == [0.0, 0.0, 0.2, 0.2, -0.2, -0.2]
    assert rig.mount_rating_N is not None


def test_calibrated_counts_weigh_the_person():
    rig = DemoRig(seed=4, sessions=1)
    counts, missed = take(rig, 200 * 80)
    load_N = rig.calibration.newtons(counts)
    load_N[missed] = np.nan
    t_s = (np.arange(len(load_N)) + 0.5) / 80.0
    for hold in rig.truth():
        inside = (t_s > hold.onset_s) & (t_s < hold.release_s)
        bar, feet = load_N[inside, :2].sum(axis=1), load_N[inside, 2:].sum(axis=1)
        # Spans are known to 3e-4 each (at most two of these off), zeros drift by 0.2 N a minute at most.
        assert np.nanmedian(bar + feet) / hold.bodyweight_N == pytest.approx(1.0, abs=2e-3)
        assert np.nanmean(bar) / hold.bodyweight_N == pytest.approx(hold.beta_mean, abs=2e-3)
        assert np.nanmean(feet) / hold.bodyweight_N == pytest.approx(hold.alpha_mean, abs=2e-3)


def test_faults_can_be_chosen():
    perfect = DemoRig(seed=4, sessions=1, faults=PERFECT)
    counts, missed = take(perfect, 200 * 80)
    assert not missed.any()
    assert not (counts == NO_READING).any()
    worse = DemoRig(seed=4, sessions=1, faults=Faults(missed_rate=0.02))
    _, missed = take(worse, 200 * 80)
    assert missed.sum() > 100


def test_the_wire_carries_the_demo_unchanged():
    speed = 20.0
    faults = Faults(missed_rate=5e-3)
    expected, missed = take(DemoRig(seed=7, sessions=1, faults=faults), 1200)
    rig = DemoRig(seed=7, sessions=1, faults=faults)
    with (
        VirtualBoard(rig.conversions, channels=6, rate_Hz=80.0, speed=speed, buffer_bytes=2**20) as board,
        LinkSource(board.port, clock=HostClock(speed)) as source,
    ):
        blocks, rows = [], 0
        for event in source.events():
            if isinstance(event, CountBlock):
                blocks.append(event)
                rows += len(event)
                if rows >= 1000:
                    break
        counters = source.counters
    got = np.concatenate([block.counts for block in blocks])
    t_s = np.concatenate([block.board_s for block in blocks])
    # Where a row belongs is known by its time: conversion k is ready (k + 1) intervals after the board's start.
    place = np.rint((t_s - t_s[0]) * 80.0).astype(int)
    place += int(np.flatnonzero(~missed)[0])
    assert not missed[place].any()
    np.testing.assert_array_equal(got, expected[place])
    assert sum(block.lost_before for block in blocks) == missed[: place[-1]].sum() - missed[: place[0]].sum()
    assert missed[: place[-1]].sum() > 0
    assert counters.damaged == 0
