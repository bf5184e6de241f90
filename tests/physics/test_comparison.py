"""The comparison sees what is wrong with a result, and nothing where nothing is wrong."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.accuracy.comparison import compare
from tests.physics.body import STEP_HZ
from tests.physics.truth import _touch, states_of

TRUTH: dict[str, Any] = {
    "tags": ["unassisted", "quiet"],
    "bodyweight_N": 700.0,
    "person": {"kappa": 0.84},
    "platform_loaded": [(30.2, 30.7)],
    "bar_hung": [(9.9, 40.1)],
    "grip_changes": [{"load_side_change_s": 25.0, "to": "left", "slope_N_s": 900.0}],
    "events": [
        {"kind": "passive_to_active", "t_s": 20.0, "duration_s": 1.0, "com_rise_mm": 40.0},
        {
            "kind": "foot_touch",
            "t0_s": 30.0,
            "t1_s": 31.0,
            "start_s": 30.2,
            "end_s": 30.7,
            "level_N": 80.0,
            "peak_N": 90.0,
            "impulse_N_s": 40.0,
            "slopes_N_s": [900.0, 900.0],
        },
        {"kind": "third_support", "t0_s": 33.0, "t1_s": 38.0, "frac": 0.1, "rise_s": 0.6},
    ],
    "holds": [
        {
            "onset_half_s": 10.0,
            "release_half_s": 40.0,
            "half_level_N": 350.0,
            "slopes_N_s": [2000.0, 2000.0],
            "bar_fraction_half": 0.98,
            "assist_fraction_half": 0.001,
            "tremor_6_12Hz_rms_N": 2.0,
            "peak_N": 900.0,
            "settle_s": 1.0,
            "loading_N_s": 9000.0,
            "assist_by_second": {"t_s": [10.5, 20.0, 39.5], "mean": [0.0, 0.0, 0.002]},
            "states": [
                {"t0_s": 10.0, "t1_s": 20.5, "state": "passive"},
                {"t0_s": 20.5, "t1_s": 40.0, "state": "active"},
            ],
            "states_clear": True,
            "gaps": [[15.0, 15.2]],
            "swing": {"t_s": [12.0], "amplitude_deg": [0.1], "frequency_Hz": 0.45, "largest_deg": 0.2},
        }
    ],
}
RESULT: dict[str, Any] = {
    "bodyweight_N": 700.0,
    "quality": {"samples": 4000},
    "holds": [
        {
            "onset_s": 10.0,
            "release_s": 40.0,
            "alpha_mean": 0.001,
            "beta_mean": 0.98,
            "peak_N": 900.0,
            "peak_u_N": 3.0,
            "flags": [],
            "loading_N_s": 9000.0,
            "loading_u_N_s": 50.0,
            "assistance_course": [(15.5, 0.0, 0.0001), (16.5, None, None), (39.5, 0.002, 0.0001)],
            "tremor_N": 2.0,
            "settle_s": 1.0,
            "swing": {"max_deg": None, "rms_deg": None, "frequency_Hz": None, "course": []},
            "travel": [{"start_s": 20.0, "end_s": 21.0, "travel_mm": 40.0, "u_mm": 1.0}],
            "states": [
                {"start_s": 10.0, "end_s": 20.5, "state": "passive"},
                {"start_s": 20.5, "end_s": 40.0, "state": "active"},
            ],
            "regrips": [{"start_s": 15.0, "end_s": 15.2}],
            "grip_changes_s": [25.0],
            "touches": [{"start_s": 30.2, "end_s": 30.7, "alpha_peak": 90.0 / 700.0}],
            "third_support": [{"start_s": 33.3, "end_s": 37.7, "fraction": 0.1}],
        }
    ],
}


def errors(result: dict[str, Any]) -> dict[str, float]:
    """Return the largest error of each measure that is not zero."""
    outcome: dict[str, float] = {}
    for one in compare(TRUTH, result):
        if one.error > 1e-9:
            outcome[one.measure] = max(outcome.get(one.measure, 0.0), one.error)
    return outcome


def test_a_perfect_result_has_no_error():
    measures = {one.measure for one in compare(TRUTH, RESULT)}
    assert errors(RESULT) == {}
    assert {"onset", "travel", "state wrong", "touch's edges", "third support", "change of hands", "tremor"} <= measures


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        ({"onset_s": 10.004}, {"onset": 4.0}),
        ({"beta_mean": None}, {"bar's share": float("inf")}),
        ({"travel": []}, {"pull missed": 1.0}),
        ({"loading_N_s": 9090.0}, {"loading rate": 1.0, "loading rate over u": 1.8}),
        (
            {"loading_N_s": 9090.0, "loading_u_N_s": 180.0},
            {"loading rate, not resolved": 1.0, "loading rate not resolved": 1, "loading rate over u": 0.5},
        ),
        (
            {"assistance_course": [(15.5, 0.003, 0.001)]},
            {"assistance by the second": 0.3, "assistance by the second over u": 3.0},
        ),
        (
            {"travel": [{"start_s": 12.0, "end_s": 13.0, "travel_mm": 20.0, "u_mm": 1.0}]},
            {"pull missed": 1, "pull invented": 1},
        ),
        ({"touches": []}, {"touch missed": 1.0}),
        (
            {"touches": [{"start_s": t, "end_s": t + 0.5, "alpha_peak": 90.0 / 700.0} for t in (20.0, 30.2)]},
            {"touch invented": 1},
        ),
        ({"grip_changes_s": [25.05, 28.0]}, {"change of hands": 50.0, "change of hands invented": 1}),
        ({"third_support": []}, {"third support missed": 1.0}),
        ({"regrips": []}, {"regrip missed": 1.0}),
        ({"tremor_N": 2.1}, {"tremor": 5.0}),
        ({"swing": {"course": [(20.0, 1.5, 0.1)], "frequency_Hz": None}}, {"swing invented": 1}),
        ({"states": [{"start_s": 10.0, "end_s": 40.0, "state": "passive"}]}, {"state wrong": 65.0}),
    ],
)
def test_what_is_wrong_is_told_and_nothing_else(change, wanted):
    wrong = copy.deepcopy(RESULT)
    wrong["holds"][0].update(change)
    assert errors(wrong) == pytest.approx(wanted, rel=1e-6)


def test_holds_missed_and_invented_are_told():
    assert errors({**RESULT, "holds": []}) == {"hold missed": 1}
    twice = copy.deepcopy(RESULT)
    twice["holds"].append({**copy.deepcopy(RESULT["holds"][0]), "onset_s": 50.0, "release_s": 60.0})
    assert errors(twice) == {"hold invented": 1}


def test_a_lean_that_loads_the_bar_like_a_hang_is_told_as_one():
    nobody = {**TRUTH, "holds": []}
    for loaded, wanted in (([(9.9, 40.1)], {"lean that is a hang": 1}), ([(9.9, 24.0)], {"hold invented": 1})):
        outcome = {one.measure: one.error for one in compare({**nobody, "bar_hung": loaded}, RESULT) if one.error}
        assert {name: error for name, error in outcome.items() if "hold" in name or "lean" in name} == wanted


def test_a_pull_of_less_than_half_the_range_stays_passive_as_in_the_recorded_curves():
    """Source: tests/recordings/curves/s3_seed11.truth.json, held against the same definition here."""
    path = Path(__file__).parents[1] / "recordings" / "curves" / "s3_seed11.truth.json"
    recorded = json.loads(path.read_text(encoding="utf-8"))
    (hold,) = recorded["holds"]
    states, clear = states_of(recorded["events"], hold["onset_half_s"], hold["release_half_s"])
    assert [s["state"] for s in states] == [s["state"] for s in hold["states"]] == ["passive", "active", "passive"]
    for own, given in zip(states, hold["states"], strict=True):
        assert (own["t0_s"], own["t1_s"]) == pytest.approx((given["t0_s"], given["t1_s"]), abs=0.01)
    assert not clear, "45 % of the range is too near to the half to be judged"


def test_a_foot_that_springs_off_before_it_stands_is_no_touch():
    t_s = np.arange(0, 4, 1 / STEP_HZ)
    for sessions_s, touches in ((0.002, False), (0.3, True)):
        feet_N = np.where((t_s > 2.0) & (t_s < 2.0 + sessions_s), 90.0, 0.0)
        event = {"kind": "foot_touch", "t0_s": 2.0, "t1_s": 2.0 + sessions_s}
        assert (_touch(SimpleNamespace(t_s=t_s), event, feet_N) is not None) is touches
