"""What the live view says of its own uncertainty; what age of a zero and skew of the channels do to a session's."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from load_stories import BODYWEIGHT_N, RIG, TWO_SESSIONS, blocks_of, loads

from firmware_bridge.counts import CountBlock
from monitor.measures.live.uncertainty import SMOOTHED_NOISE_N, LiveUncertainty, LiveWeight
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.pipeline import ASSUMED_ZERO_AGE_S, Pipeline, SessionMeasured
from monitor.records.hold_result import HoldResult
from monitor.rig import Rig
from monitor.signals.windows import OFF_ZERO_N
from monitor.signals.zeros import WANDER_N, wandered_N2

OWN = np.eye(6) * 1e-3**2
COMMON = np.full((6, 6), 1e-3**2)


def weight(source, u_own_N: float) -> LiveWeight:
    return LiveWeight(700.0, 0.0, u_own_N, source)


def test_a_span_that_all_cells_share_cancels_in_live_shares_and_own_spans_only_where_they_weighed_both():
    """By hand, W = 700 N standing on four cells: beta 1e-3 sqrt(1/2 + 1/4), alpha nothing but noise and zero."""
    noise = {part: SMOOTHED_NOISE_N * math.sqrt(cells) / 700 for part, cells in (("bar", 2), ("feet", 4))}
    shared, own = (LiveUncertainty(RIG, np.zeros(6), covariance) for covariance in (COMMON, OWN))
    assert shared.u_weight_N("standing", 700.0) == pytest.approx(0.7)
    assert shared.u_beta(0.9, weight("standing", 0.0), 0.0) == pytest.approx(noise["bar"])
    assert shared.u_beta(0.9, weight("given", 0.0), 0.0) == pytest.approx(math.hypot(0.9e-3, noise["bar"]))
    assert own.u_alpha(0.1, weight("standing", 0.0), 0.0) == pytest.approx(noise["feet"])
    by_hand = math.hypot(0.9e-3 * math.sqrt(0.75), noise["bar"])
    assert own.u_beta(0.9, weight("standing", 0.0), 0.0) == pytest.approx(by_hand)
    own_scatter = math.hypot(by_hand, 0.9 * 0.5 / 700)
    assert own.u_beta(0.9, weight("standing", 0.5), 0.0) == pytest.approx(own_scatter)


def test_a_live_zero_is_the_calibrations_until_it_is_read_and_wanders_from_then_on():
    errors = LiveUncertainty(RIG, np.full(6, 0.3), 0 * OWN)
    before = errors.u_alpha(0.1, weight("standing", 0.0), 50.0)
    errors.zero_read("platform", 50.0)
    read, later = (errors.u_alpha(0.1, weight("standing", 0.0), now_s) for now_s in (50.0, 170.0))
    assert (700 * before) ** 2 - (700 * read) ** 2 == pytest.approx(4 * 0.3**2)
    assert (700 * later) ** 2 - (700 * read) ** 2 == pytest.approx(4 * wandered_N2(np.array(120.0)))


def test_the_live_zero_follows_a_drift_no_further_than_a_session_may():
    """A bar that drifts by 20 N in ten minutes while the rig is empty."""
    t_s = np.arange(0, 600, 1 / 80)
    load_N = np.zeros((len(t_s), 6))
    load_N[:, 0] = 20.0 * t_s / 600
    pipeline = Pipeline(RIG, 80.0, AnalysisSettings(), live=True)
    pictures = [p for block in blocks_of(t_s, load_N) for p in pipeline.push_load(block).pictures]
    assert abs(pictures[len(pictures) // 10].bar_N) < 0.5
    assert pictures[-1].bar_N == pytest.approx(20.0 - OFF_ZERO_N, abs=0.5)


def counted(
    *, zero_at: str = "", utc_s: float | None = None, skew_s: float = 0.0, points: object = TWO_SESSIONS
) -> HoldResult:
    """Return the first hold of a story as counts, with zeros that were read at ``zero_at``."""
    t_s, load_N = loads(points)  # type: ignore[arg-type]
    channels = tuple(ChannelCalibration(n, 0.0, 1e-3, 100.0, 2e-4, zero_at) for n in RIG.names)
    rig = Rig("counts", RIG.channels)
    pipeline = Pipeline(rig, 80.0, AnalysisSettings(), calibration=Calibration(channels), skew_s=skew_s)
    if utc_s is not None:
        pipeline.clock(1.0, 1e-6, round(utc_s * 1e9))
    block = CountBlock(0, t_s, np.round(load_N * 1000).astype(np.int32))
    out = [pipeline.push(block), pipeline.flush()]
    return next(e.result.holds[0] for o in out for e in o.events if isinstance(e, SessionMeasured) and e.final)


NEVER_OFF = (
    (0, 0.02, 0),
    (3, 0.02, 0),
    (3.2, 0.02, 1),
    (8, 0.02, 1),
    (8.2, 1, 0.02),
    (18, 1, 0.02),
    (18.2, 0.02, 1),
    (24, 0.02, 1),
)
"""A bag of 2 % hangs on the bar and a mat lies on the platform: no zero can be read."""


def test_an_old_zero_makes_a_share_less_certain_and_an_undated_one_is_an_hour_old():
    day = 1_767_225_600.0  # 2026-01-01T00:00:00Z
    fresh, hour, undated = (
        counted(zero_at=at, utc_s=utc_s, points=NEVER_OFF)
        for at, utc_s in (
            ("2026-01-01T00:00:00Z", day),
            ("2026-01-01T00:00:00Z", day + ASSUMED_ZERO_AGE_S),
            ("", day),
        )
    )
    assert {"bar_zero_not_read", "platform_zero_not_read"} <= set(fresh.flags)
    assert undated.beta_u == pytest.approx(hour.beta_u, rel=1e-3)
    more_N2 = (hour.beta_u**2 - fresh.beta_u**2) * BODYWEIGHT_N**2
    # B / W with W = B + P: d(B / W) = ((1 - beta) z_B - beta z_P) / W, so four cells of the platform count, hardly the
    # bar's two. Over an hour each wanders by 2 WANDER^2; the fresh zero has wandered for 13 s by mid-hold.
    levers = 4 * fresh.beta_mean**2 + 2 * (1 - fresh.beta_mean) ** 2
    expected = levers * (2 * WANDER_N**2 - float(wandered_N2(np.array(13.0))))
    assert more_N2 == pytest.approx(expected, rel=0.05)


def test_channels_that_are_read_one_after_the_other_make_edges_less_certain():
    """A skew of 12.5 ms anywhere at both edges: 12.5 ms sqrt(2 / 12) (JCGM 100:2008, 4.3.7)."""
    at_once, skewed = counted(), counted(skew_s=0.0125)
    more = math.sqrt(skewed.duration_u_s**2 - at_once.duration_u_s**2)
    assert more == pytest.approx(0.0125 * math.sqrt(2 / 12), rel=0.01)
    assert replace(skewed, duration_u_s=at_once.duration_u_s).duration_s == at_once.duration_s
    assert skewed.lateral_u_m > at_once.lateral_u_m
