"""Records become plain data and come back, also from other versions of the program."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from store_samples import BARE_RESULT, FULL_RESULT

from monitor.records.hold_result import HoldResult, Slope, Slopes, Stillness, Sway
from monitor.records.plain_data import plain, record_of


def test_a_result_comes_back_from_json():
    for result in (FULL_RESULT, BARE_RESULT):
        assert HoldResult.from_dict(json.loads(json.dumps(result.as_dict()))) == result


def test_parts_of_parts_come_back():
    slopes = Slopes(Slope(0.01, 0.002), None, None, Slope(-1e-4, 1e-5))
    result = HoldResult(1.0, 3.0, 2.0, 0.01, slopes=slopes, sway=Sway(*range(6)), stillness=Stillness(1, 0, 0, 0, 0))
    assert HoldResult.from_dict(json.loads(json.dumps(result.as_dict()))) == result


def test_keys_of_a_newer_version_are_ignored_and_missing_ones_take_their_default():
    data = FULL_RESULT.as_dict() | {"new_N": 3.0}
    data["swing"] = data["swing"] | {"new_deg": 1.0}
    del data["touches"], data["swing"]["kappa"]
    back = HoldResult.from_dict(data)
    assert (back.touches, back.swing) == ([], FULL_RESULT.swing)


@pytest.mark.parametrize(
    "damage",
    [
        {"swing": "x"}, {"swing": {"max_deg": 1.0}}, {"states": 5}, {"states": ["x"]}, {"touches": [{"start_s": 1.0}]},
        {"assistance_course": [5]},
        {"slopes": {"assistance": 1.0, "tremor_N": None, "ripple_N": None, "lateral_m": None}},
    ],
)  # fmt: skip
def test_damaged_data_are_refused(damage):
    with pytest.raises(TypeError):
        HoldResult.from_dict(FULL_RESULT.as_dict() | damage)
    with pytest.raises(TypeError):
        record_of(HoldResult, ["no", "mapping"])


def test_plain_data_are_what_json_takes():
    data = {
        "a": np.float64(1.5),
        2: (np.int64(3), math.nan, math.inf),
        "c": np.array([1.0, np.nan]),
        "d": None,
        "e": True,
    }
    assert plain(data) == {"a": 1.5, "2": [3, None, None], "c": [1.0, None], "d": None, "e": True}
    with pytest.raises(TypeError):
        plain({"a": object()})
