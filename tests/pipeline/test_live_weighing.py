"""Which loads the live view takes for a weight, and on which rigs it reads motion from the sum."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from load_stories import BODYWEIGHT_N, RIG, Points, blocks_of, loads

from monitor.measures.live.uncertainty import LiveUncertainty
from monitor.measures.live.weighing import LiveWeighing, QuietWindow
from monitor.measures.picture import Picture
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.curve_file import read_curve
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Pipeline
from monitor.rig import Rig

BAR_ONLY = Rig("bar", tuple(channel for channel in RIG.channels if channel.part == "bar"))
PLATFORM_ONLY = Rig("platform", tuple(channel for channel in RIG.channels if channel.part == "platform"))


def pictures_of(blocks: list[LoadBlock], rig: Rig, rate_Hz: float = 80.0, weight_N: float | None = None):
    pipeline = Pipeline(rig, rate_Hz, AnalysisSettings(bodyweight_N=weight_N), live=True)
    return [picture for block in blocks for picture in pipeline.push_load(block).pictures]


def test_hands_on_the_bar_are_part_of_the_weight():
    weighing = LiveWeighing(RIG, LiveUncertainty(RIG, np.zeros(6), np.zeros((6, 6))))
    for k in range(12):
        weighing.push(QuietWindow(k / 2, 0.1 * BODYWEIGHT_N, 0.9 * BODYWEIGHT_N, 0.3, 0.3))
    assert weighing.weight(None).bodyweight_N == pytest.approx(BODYWEIGHT_N)
    assert weighing.weight(None).source == "standing"


def test_a_helped_hang_is_weighed_as_a_hang():
    weighing = LiveWeighing(RIG, LiveUncertainty(RIG, np.zeros(6), np.zeros((6, 6))))
    for k in range(40):
        weighing.push(QuietWindow(k / 2, 0.6 * BODYWEIGHT_N, 0.4 * BODYWEIGHT_N, 0.3, 0.3))
    assert (weighing.has_stood, weighing.weight(None).source) == (False, "hang")
    assert weighing.weight(None).bodyweight_N == pytest.approx(BODYWEIGHT_N)


def test_less_than_a_body_is_not_weighed():
    weighing = LiveWeighing(RIG, LiveUncertainty(RIG, np.zeros(6), np.zeros((6, 6))))
    for k in range(12):
        weighing.push(QuietWindow(k / 2, 0.0, 60.0, 0.3, 0.3))
    assert weighing.weight(None) is None


def test_a_body_that_bounces_is_not_weighed_where_the_bar_is_inferred():
    still: Points = ((0, 0, 0), (2, 0, 0), (2.2, 0, 1), (6, 0, 1))
    t_s, load_N = loads(still, rig=PLATFORM_ONLY)
    bounce_s = t_s[-1] + np.arange(1, 1600) / 80
    bounce_N = (1 + 0.03 * np.sin(2 * np.pi * 2.0 * bounce_s)) * load_N[-1].sum() / load_N.shape[1]
    bouncing = np.repeat(bounce_N[:, None], load_N.shape[1], axis=1)
    pictures = pictures_of([*blocks_of(t_s, load_N), *blocks_of(bounce_s, bouncing)], PLATFORM_ONLY)
    first = next(picture for picture in pictures if picture.t_s > bounce_s[0] + 1.0)
    assert first.bodyweight_N == pytest.approx(BODYWEIGHT_N, abs=1)
    # No further window counts: neither the weight nor its uncertainty moves by the last digit.
    assert (pictures[-1].bodyweight_N, pictures[-1].bodyweight_u_N) == (first.bodyweight_N, first.bodyweight_u_N)


def swinging(part: str) -> list[Picture]:
    """Return the pictures of an invented swinging body on a rig that has lost one of its parts."""
    curve = read_curve(Path(__file__).parents[1] / "recordings" / "curves" / "s4_seed11.csv.gz")
    index = [i for i, channel in enumerate(curve.rig.channels) if part in ("both", channel.part)]
    rig = Rig(part, tuple(curve.rig.channels[i] for i in index))
    blocks = [LoadBlock(b.t_s, b.load_N[:, index]) for b in curve.blocks() if b.t_s[0] < 32.0]
    return pictures_of(blocks, rig, curve.rate_Hz, weight_N=None if part == "both" else BODYWEIGHT_N)


def test_swing_is_read_only_where_bar_and_platform_are_both_measured():
    assert any(picture.swing_deg is not None for picture in swinging("both"))
    bar_alone = swinging("bar")
    assert any(picture.scene == "hanging" for picture in bar_alone)
    assert all(picture.swing_deg is None and picture.travel_mm is None for picture in bar_alone)
