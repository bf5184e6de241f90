"""Rigs of other shapes, offline and live, in tables, exports and on the screen: what cannot be known is absent."""

from __future__ import annotations

import csv
import io
import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from other_rigs import SHAPES, Measured, measured, story

from monitor.cli.terminal.result_tables import show_record
from monitor.dashboard.views.json_views import hold_view, picture_view
from monitor.demo.scenario import Scenario
from monitor.exports.csv_file import holds_csv
from monitor.exports.json_file import holds_json
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Pipeline, SessionMeasured
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig
from monitor.service import rig_view

WITH_BOTH = [name for name in SHAPES if "and platform" in name]
BAR_ONLY = [name for name in SHAPES if "platform" not in name]
FEET_ONLY = [name for name in SHAPES if "alone" in name]
TWO_HANDS = [name for name in SHAPES if "rings" in name or "bar of two" in name]

NEEDS_BAR_AND_FEET = ("misclosure", "misclosure_u", "swing", "tremor_N")
NEEDS_BAR = ("peak_N", "lateral_m", "lateral_u_m", "zero_bar_N")
NEEDS_FEET = ("zero_feet_N", "sway")
NEEDS_WEIGHT = ("kind", "support", "beta_mean", "beta_u", "alpha_mean", "alpha_u", "alpha_p95", "clean_s", "dose_bw_s")

BETA, ALPHA, EDGE_S = 0.003, 0.002, 0.025
"""The accuracy that is asked of the usual rig (tests/analysis/test_curves_against_truth.py)."""


def weight_N(run: Measured) -> float:
    return run.truth[0].bodyweight_N


def check_times(run: Measured, holds: list[HoldResult], truths: tuple) -> None:
    assert len(holds) == len(truths)
    for hold, truth in zip(holds, truths, strict=True):
        assert hold.onset_s == pytest.approx(truth.onset_s, abs=EDGE_S)
        assert hold.release_s == pytest.approx(truth.release_s, abs=EDGE_S)


def absent(hold: HoldResult, names: tuple[str, ...]) -> None:
    for name in names:
        assert getattr(hold, name) is None, name


@pytest.mark.parametrize("rate_Hz", [80.0, 1000.0])
@pytest.mark.parametrize("name", WITH_BOTH)
def test_bar_and_platform_measure_everything_but_what_one_cell_hides(name, rate_Hz):
    run = measured(name, rate_Hz)
    check_times(run, run.result.holds, run.truth)
    assert run.result.bodyweight_N == pytest.approx(weight_N(run), rel=0.0015)
    for hold, truth in zip(run.result.holds, run.truth, strict=True):
        assert hold.beta_mean == pytest.approx(truth.beta_mean, abs=BETA)
        assert hold.alpha_mean == pytest.approx(truth.alpha_mean, abs=ALPHA)
        assert hold.alpha_direct
        assert hold.misclosure is not None
        assert (hold.lateral_m is None) == (name not in TWO_HANDS)
        assert ("hands_not_told_apart" in hold.flags) == (name not in TWO_HANDS)
        assert not {"alpha_inferred", "beta_inferred"} & set(hold.flags)
    # Where the feet press is known where the platform's cells span a surface, and told in the assisted hold.
    assert (run.result.holds[0].sway is None) == ("four" not in name)


@pytest.mark.parametrize("rate_Hz", [80.0, 500.0])
@pytest.mark.parametrize("name", BAR_ONLY)
def test_a_bar_alone_times_and_gives_no_share_until_bodyweight_is_given(name, rate_Hz):
    run = measured(name, rate_Hz)
    check_times(run, run.result.holds, run.truth)
    assert run.result.bodyweight_N is None
    assert run.result.bodyweight_u_N is None
    assert run.result.quality.zero_feet_N is None
    assert "bodyweight_unknown" in run.result.flags
    for hold in run.result.holds:
        absent(hold, NEEDS_WEIGHT + NEEDS_BAR_AND_FEET + NEEDS_FEET)
        assert not hold.alpha_direct
        assert hold.peak_N > 500
        assert "bodyweight_unknown" in hold.flags


@pytest.mark.parametrize("name", BAR_ONLY)
def test_a_bar_alone_infers_the_share_from_a_given_bodyweight_and_says_so(name):
    run = measured(name, given_N=round(story_weight(), 1))
    for hold, truth in zip(run.result.holds, run.truth, strict=True):
        assert hold.beta_mean == pytest.approx(truth.beta_mean, abs=BETA)
        assert hold.alpha_mean == pytest.approx(1 - hold.beta_mean, abs=1e-12)
        assert hold.alpha_u == hold.beta_u
        assert hold.alpha_u > 0.001  # a stated bodyweight is known to 0.2 %
        assert not hold.alpha_direct
        absent(hold, NEEDS_BAR_AND_FEET + NEEDS_FEET)
        assert hold.third_support == []
        assert hold.touches == []
        assert {"alpha_inferred", "swing_needs_platform", "travel_needs_platform"} <= set(hold.flags)
        assert ("hands_not_told_apart" in hold.flags) == (name not in TWO_HANDS)


def story_weight() -> float:
    return weight_N(measured("bar of two"))


@pytest.mark.parametrize("rate_Hz", [80.0, 500.0])
@pytest.mark.parametrize("name", FEET_ONLY)
def test_a_platform_alone_measures_the_assisted_hang_and_leaves_the_free_one_out(name, rate_Hz):
    run = measured(name, rate_Hz)
    check_times(run, run.result.holds, run.truth[:1])
    (hold,), truth = run.result.holds, run.truth[0]
    assert run.result.bodyweight_N == pytest.approx(weight_N(run), rel=0.0015)
    assert run.result.quality.zero_bar_N is None
    assert hold.alpha_mean == pytest.approx(truth.alpha_mean, abs=ALPHA)
    assert hold.alpha_direct
    assert hold.beta_mean == pytest.approx(1 - hold.alpha_mean, abs=1e-12)
    assert hold.beta_u == hold.alpha_u
    assert hold.support == "assisted"
    assert hold.kind is None
    absent(hold, NEEDS_BAR_AND_FEET + NEEDS_BAR)
    assert (hold.travel, hold.third_support, hold.grip_changes_s) == ([], [], [])
    assert "beta_inferred" in hold.flags
    assert (hold.sway is None) == ("of one" in name)


@pytest.mark.parametrize("name", SHAPES)
def test_the_live_results_end_as_the_recorded_ones(name):
    live, recorded = measured(name, live=True), measured(name)
    assert live.result == recorded.result
    so_far = [e for out in live.outputs for e in out.events if isinstance(e, SessionMeasured) and not e.final]
    assert so_far, "no hold was measured while its session went on"


@pytest.mark.parametrize("name", SHAPES)
def test_the_screen_shows_what_is_absent_as_absent(name):
    run = measured(name, live=True)
    hanging = [p for p in run.pictures if p.scene == "hanging" and run.truth[0].onset_s + 5 < p.t_s < 25]
    assert len(hanging) > 100
    for picture in hanging:
        view = picture_view(picture)
        assert (view["bar_N"] is None) == (name in FEET_ONLY)
        assert (view["feet_N"] is None) == (name in BAR_ONLY)
        assert view["alpha_direct"] == (name not in BAR_ONLY)
        assert view["beta_inferred"] == (name in FEET_ONLY)
        assert (view["beta"] is None) == (name in BAR_ONLY)
        assert (view["alpha"] is None) == (name in BAR_ONLY)
        assert (view["misclosure"] is None) == (name not in WITH_BOTH)
        assert (view["lateral_m"] is None) == (name not in TWO_HANDS)
        assert view["swing_deg"] is None
        assert json.dumps(view, allow_nan=False)
    clocks = [p.hold for p in hanging]
    assert all(clock is not None and not clock.ended for clock in clocks)
    assert clocks[-1].onset_s == pytest.approx(run.truth[0].onset_s, abs=0.03)
    if name not in BAR_ONLY:
        middle = hanging[len(hanging) // 2]
        assert middle.beta + middle.alpha == pytest.approx(1.0, abs=0.05)
        assert 0 < middle.u_alpha < 0.005
    view = rig_view(run.rig)
    assert view["has_platform"] == (name not in BAR_ONLY)
    assert view["bar_cells"] == len(run.rig.bar_index)


@pytest.mark.parametrize("name", FEET_ONLY)
def test_stepping_off_a_platform_alone_starts_no_clock(name):
    run = measured(name, live=True)
    starts = [b for a, b in itertools.pairwise(run.pictures) if a.hold is None and b.hold is not None]
    assert len(starts) == 1
    assert starts[0].hold.onset_s == pytest.approx(run.truth[0].onset_s, abs=0.1)


def stored(run: Measured) -> list[StoredHold]:
    weight, u = run.result.bodyweight_N, run.result.bodyweight_u_N
    return [
        StoredHold(f"s-{n:03d}", "s", n, 10**18, weight, u, hold, MEASUREMENT_VERSION)
        for n, hold in enumerate(run.result.holds, start=1)
    ]


@pytest.mark.parametrize("name", SHAPES)
def test_exports_and_rest_leave_empty_what_is_absent(name):
    run = measured(name)
    text, data = io.StringIO(newline=""), io.StringIO()
    holds_csv(stored(run), text)
    holds_json(stored(run), data)
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    saved = json.loads(data.getvalue())["holds"]
    views = [hold_view(hold)["result"] for hold in stored(run)]
    for row, plain, view, hold in zip(rows, saved, views, run.result.holds, strict=True):
        for column, field in (
            ("alpha_mean_1", "alpha_mean"),
            ("beta_mean_1", "beta_mean"),
            ("misclosure_1", "misclosure"),
            ("peak_N", "peak_N"),
            ("lateral_m", "lateral_m"),
            ("lateral_u_m", "lateral_u_m"),
            ("tremor_N", "tremor_N"),
            ("zero_bar_N", "zero_bar_N"),
            ("zero_feet_N", "zero_feet_N"),
        ):
            missing = getattr(hold, field) is None
            assert (row[column] == "") == missing, column
            assert (plain[field] is None) == missing, field
            assert (view[field] is None) == missing, field
        if hold.swing is None:
            assert (row["swing_max_deg"], plain["swing"], view["swing"]) == ("", None, None)


@pytest.mark.parametrize("name", SHAPES)
def test_the_table_says_not_known_and_inferred(name, capsys):
    run = measured(name)
    show_record(Path("session.journal"), run.result)
    text = capsys.readouterr().out
    assert ("bodyweight not known" in text.splitlines()[0]) == (name in BAR_ONLY)
    assert ("inferred from the feet alone" in text) == (name in FEET_ONLY)
    for line in text.splitlines():
        if line.strip().startswith(("1 ", "2 ")) and name in BAR_ONLY:
            assert line.count("not known") == 4  # hands, feet, kind, swing
            assert "%" not in line


def test_the_hands_share_is_marked_where_it_is_inferred(capsys):
    show_record(Path("session.journal"), measured("platform of four alone").result)
    (line,) = (x for x in capsys.readouterr().out.splitlines() if x.strip().startswith("1 "))
    hands, feet = (line.index(word) for word in ("(inferred)", "assisted"))
    assert hands < feet
    assert line.count("(inferred)") == 1


def test_a_jump_on_a_platform_alone_is_no_hold():
    """The story's hop, with the hands nowhere near a bar, as the platform sees it."""

    def hops(script):
        script.wait(2.0)
        script.step_on()
        script.stand(5.0)
        for _ in range(3):
            script.hop()
            script.stand(3.0)
        script.step_off()

    scenario = Scenario(1, 80.0, sessions=1, programmes=(hops,))
    pieces = []
    while len(piece := scenario.advance()):
        pieces.append(piece)
    shape = SHAPES["platform of four alone"]
    load_N = shape.loads(np.concatenate(pieces))
    assert (load_N[400:-1200].sum(axis=1) < 20).any(), "nobody left the ground"
    rig = Rig("feet", shape.channels)
    for live in (False, True):
        pipeline = Pipeline(rig, 80.0, AnalysisSettings(), live=live)
        outs = [pipeline.push_load(LoadBlock(np.arange(len(load_N)) / 80, load_N)), pipeline.flush()]
        final = [e.result for out in outs for e in out.events if isinstance(e, SessionMeasured) and e.final]
        assert sum(len(result.holds) for result in final) == 0
        assert all(p.hold is None for out in outs for p in out.pictures)


@pytest.mark.parametrize("name", FEET_ONLY)
def test_an_inferred_bar_does_not_depend_on_how_the_stream_was_cut(name):
    six, _ = story(80.0)
    load_N = SHAPES[name].loads(six)[:3000]
    t_s = np.arange(len(load_N)) / 80
    messages = []
    for piece in (len(load_N), 7, 81):
        pipeline, outs = Pipeline(Rig("feet", SHAPES[name].channels), 80.0, AnalysisSettings(), live=True), []
        for first in range(0, len(load_N), piece):
            part = slice(first, first + piece)
            outs.append(pipeline.push_load(LoadBlock(t_s[part], load_N[part])))
        outs.append(pipeline.flush())
        events = [e for out in outs for e in out.events]
        messages.append((events, [picture_view(p) for out in outs for p in out.pictures]))
    assert messages[0] == messages[1] == messages[2]
    assert any(view["hold"] for view in messages[0][1])
