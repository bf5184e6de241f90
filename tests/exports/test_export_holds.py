"""The list of holds as CSV and JSON: whole, with units, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import pytest
from store_samples import BARE_RESULT, FULL_RESULT, sample_hold

from monitor.exports.cells import cell, utc_text
from monitor.exports.csv_file import holds_csv
from monitor.exports.json_file import holds_json
from monitor.records.hold_result import HoldResult

HOLDS = [sample_hold("session", 1), sample_hold("session", 2, BARE_RESULT, bodyweight_N=None, bodyweight_u_N=None)]


def as_rows(holds) -> list[dict[str, str]]:
    out = io.StringIO(newline="")
    holds_csv(holds, out)
    return list(csv.DictReader(io.StringIO(out.getvalue(), newline=""), strict=True))


def as_json(holds):
    out = io.StringIO()
    holds_json(holds, out)
    return json.loads(out.getvalue(), parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))


def test_numbers_come_back_exactly_and_units_stand_in_the_header():
    row = as_rows(HOLDS)[0]
    assert float(row["duration_s"]) == 32.56
    assert float(row["misclosure_1"]) == -0.001
    assert row["misclosure_1"] == "-0.001", "a negative number is no formula"
    assert (row["uid"], row["number"], row["kind"], row["support"]) == ("session-001", "1", "passive", "assisted")
    assert (row["alpha_direct"], row["bodyweight_N"], row["dose_bw_s"]) == ("true", "702.4", "28.65")
    assert (row["swing_max_deg"], row["swing_frequency_Hz"]) == ("1.9", "0.44")
    assert (row["states_count"], row["touches_count"], row["flags"]) == ("2", "1", "kind_from_travel")
    # 1760000060 s after 1970 is 2025-10-09T08:54:20Z (checked with `date -u -d @1760000060`).
    assert row["onset_utc"] == "2025-10-09T08:54:20.123Z"


def test_what_is_not_known_is_empty():
    row = as_rows(HOLDS)[1]
    empty = {name for name, text in row.items() if text == ""}
    assert empty >= {"bodyweight_N", "kind", "beta_mean_1", "swing_max_deg", "flags", "peak_N"}
    assert not empty & {"uid", "onset_utc", "duration_s", "duration_u_s", "alpha_direct", "states_count"}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_text_that_a_spreadsheet_would_run_is_defused(start):
    """The characters are those that OWASP's page on CSV injection names (from memory)."""
    evil = f'{start}HYPERLINK("http://x";"y")'
    result = dataclasses.replace(FULL_RESULT, flags=[evil])
    row = as_rows([sample_hold(evil, result=result)])[0]
    for name in ("uid", "session_uid", "flags"):
        assert row[name].startswith(f"'{start}"), name


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, ""), (float("nan"), ""), (float("-inf"), ""), (-1.5, "-1.5"), (-3, "-3"), (True, "true"), (1e-7, "1e-07")],
)
def test_cells(value, text):
    assert cell(value) == text


def test_json_holds_every_part_and_reads_back_as_the_same_result():
    full, bare = as_json(HOLDS)["holds"]
    assert HoldResult.from_dict(full) == FULL_RESULT
    assert HoldResult.from_dict(bare) == BARE_RESULT
    assert (full["uid"], full["session_uid"], full["number"], full["revised"]) == ("session-001", "session", 1, 0)
    assert full["onset_utc"] == "2025-10-09T08:54:20.123456789Z"
    assert bare["bodyweight_N"] is None


def test_json_without_holds_and_with_numbers_that_json_lacks():
    assert as_json([]) == {"holds": []}
    odd = dataclasses.replace(FULL_RESULT, peak_N=float("nan"), flags=["größer"])
    (hold,) = as_json([sample_hold("session", result=odd)])["holds"]
    assert (hold["peak_N"], hold["flags"]) == (None, ["größer"])


@pytest.mark.parametrize(
    ("utc_ns", "places", "text"),
    [
        (0, 0, "1970-01-01T00:00:00Z"),
        (999_499_999, 3, "1970-01-01T00:00:00.999Z"),
        (999_500_000, 3, "1970-01-01T00:00:01.000Z"),
        (1_709_251_199_999_999_999, 9, "2024-02-29T23:59:59.999999999Z"),
        (-1, 9, "1969-12-31T23:59:59.999999999Z"),
    ],
)
def test_instants_are_rounded_without_floating_point(utc_ns, places, text):
    assert utc_text(utc_ns, places) == text
