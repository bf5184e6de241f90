"""The table of a hold's fields: every field is declared once, and everything that lists fields reads it there."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import os
import re
from dataclasses import dataclass, field, replace
from importlib.util import find_spec
from pathlib import Path

import pytest
from store_samples import FULL_RESULT, sample_hold

from monitor.exports.csv_file import holds_csv
from monitor.exports.json_file import holds_json
from monitor.records import hold_fields, join_rules, split_rules
from monitor.records.hold_fields import HoldField, fields_of
from monitor.records.hold_result import HoldResult, Slope, Slopes, Stillness, Sway, Swing
from monitor.records.measure import declared_measure, measure
from monitor.records.stored_hold import StoredHold
from monitor.store.holds.corrected_holds import LOST_FLAG, join_holds, split_hold

DOC = Path(__file__).parents[2] / "docs" / "exports.md"
DOC_HEAD = "| in JSON | column | unit | ± | joined | split |\n| --- | --- | --- | --- | --- | --- |\n"


def doc_rows(fields: tuple[HoldField, ...]) -> str:
    """Return the table of ``docs/exports.md``."""
    return "".join(doc_row(one, fields) for one in fields)


def doc_row(one: HoldField, fields: tuple[HoldField, ...]) -> str:
    def name(path: str) -> str:
        return f"`{path.removeprefix('result.').replace('onset_utc_ns', 'onset_utc')}`"

    column = f"`{one.header}`" if one.header and "csv" in one.measure.exports else ""
    uncertainty = name(one.uncertainty) if one.uncertainty else ""
    if one.path.startswith("result."):
        rules = [r.__name__.replace("_", " ") if r else "absent" for r in (one.measure.join, one.measure.split)]
    else:
        rules = ["", ""]
    return f"| {' | '.join([name(one.path), column, one.unit, uncertainty, *rules])} |\n".replace("  ", " ")


def test_the_documentation_has_the_table():
    """``HANG_MONITOR_REMAKE=1`` writes it anew."""
    text = DOC.read_text(encoding="utf-8")
    begin = text.index(DOC_HEAD) + len(DOC_HEAD)
    end = text.index("\n\n", begin) + 1
    rows = doc_rows(hold_fields.HOLD_FIELDS)
    if os.environ.get("HANG_MONITOR_REMAKE"):
        DOC.write_text(text[:begin] + rows + text[end:], encoding="utf-8")
        return
    assert text[begin:end] == rows


@pytest.mark.parametrize("part", [HoldResult, Swing, Stillness, Slope, Slopes, Sway], ids=lambda part: part.__name__)
def test_every_field_of_a_result_is_declared(part):
    assert [f.name for f in dataclasses.fields(part) if declared_measure(f) is None] == []


def test_headers_are_unique_and_end_with_the_unit():
    columns = hold_fields.columns_of("csv")
    assert len({c.header for c in columns}) == len(columns)
    endings = {"bodyweight-seconds": "bw_s", "degrees": "deg", "N/s": "N_s", "m/s": "m_s"}
    for column in columns:
        unit, per, _ = column.column_unit.partition("/min")
        ending = f"_{endings.get(unit, unit)}{'_per_min' if per else ''}" if unit else ""
        # An uncertainty's u stands before or behind the unit.
        assert column.header.removesuffix("_u").endswith(ending), column


def test_an_uncertainty_is_a_field_of_the_same_unit():
    by_path = {one.path: one for one in hold_fields.HOLD_FIELDS}
    for one in by_path.values():
        if one.uncertainty is not None:
            assert by_path[one.uncertainty].unit == one.unit, one.path
            assert re.search(r"_u\b|_u_|\.u$", one.uncertainty), one.uncertainty


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_label_has_its_words_on_the_page(language):
    text = (DOC.parents[1] / f"monitor/dashboard/static/words/{language}.js").read_text(encoding="utf-8")
    labels = re.findall(r"(\w+): \"", re.search(r"^  measure: \{(.*?)^  \}", text, re.DOTALL | re.MULTILINE)[1])
    assert {one.measure.label for one in hold_fields.HOLD_FIELDS} - {None} == set(labels)


# A measure that is declared here and nowhere else.


@dataclass(frozen=True, slots=True)
class ToyResult(HoldResult):
    toy_N: float | None = field(
        default=None,
        metadata=measure("N", u="toy_u_N", label="toy", join=join_rules.larger, split=split_rules.same),
    )
    toy_u_N: float | None = field(
        default=None, metadata=measure("N", join=join_rules.of_the_larger("toy_N"), split=split_rules.same)
    )
    toy_Hz: float | None = field(default=None, metadata=measure("Hz"))


@dataclass(frozen=True, slots=True)
class ToyHold(StoredHold):
    result: ToyResult


def toy_hold(number: int, **values: float) -> StoredHold:
    measured = {f.name: getattr(FULL_RESULT, f.name) for f in dataclasses.fields(HoldResult)}
    by_s = 60.0 * number
    measured |= {"onset_s": measured["onset_s"] + by_s, "release_s": measured["release_s"] + by_s}
    return sample_hold("session", number, ToyResult(**measured, **values))


@pytest.fixture
def _toy_table(monkeypatch):
    monkeypatch.setattr(hold_fields, "HOLD_FIELDS", tuple(fields_of(ToyHold)))


@pytest.mark.usefixtures("_toy_table")
def test_a_measure_declared_in_one_place_is_in_every_export_and_in_the_documentation():
    hold = toy_hold(1, toy_N=123.5, toy_u_N=0.5, toy_Hz=9.0)
    out = io.StringIO(newline="")
    holds_csv([hold], out)
    (row,) = csv.DictReader(io.StringIO(out.getvalue(), newline=""))
    assert (row["toy_N"], row["toy_u_N"], row["toy_Hz"]) == ("123.5", "0.5", "9.0")
    out = io.StringIO()
    holds_json([hold], out)
    assert json.loads(out.getvalue())["holds"][0]["toy_N"] == 123.5
    assert "| `toy_N` | `toy_N` | N | `toy_u_N` | larger | same |" in doc_rows(hold_fields.HOLD_FIELDS)
    assert ToyResult.from_dict(json.loads(json.dumps(hold.result.as_dict()))) == hold.result


@pytest.mark.usefixtures("_toy_table")
@pytest.mark.skipif(not find_spec("pyarrow"), reason="pyarrow is not there")
def test_a_measure_declared_in_one_place_is_in_parquet():
    from pyarrow import parquet

    from monitor.exports.parquet_file import holds_parquet

    table = parquet.read_table(io.BytesIO(holds_parquet([toy_hold(1, toy_N=123.5)])))
    assert table.column("toy_N").to_pylist() == [123.5]
    assert table.schema.field("toy_N").metadata == {b"unit": b"N"}


def test_a_measure_declared_in_one_place_is_joined_and_split_by_its_rule():
    first, second = toy_hold(1, toy_N=10.0, toy_u_N=0.1, toy_Hz=3.0), toy_hold(2, toy_N=8.0, toy_u_N=0.7)
    one = join_holds(first, second).result
    assert (one.toy_N, one.toy_u_N) == (10.0, 0.1)
    assert join_holds(replace(first, result=replace(first.result, toy_N=None)), second).result.toy_N is None
    for part in split_hold(first, first.result.onset_s + 9.0):
        assert (part.result.toy_N, part.result.toy_u_N) == (10.0, 0.1)


def test_a_field_without_a_rule_is_absent_with_a_flag():
    bare = replace(toy_hold(1).result, **dict.fromkeys(("beta_mean", "alpha_mean", "swing", "tremor_N")))
    rest = {
        f.name: None
        for f in dataclasses.fields(bare)
        if declared_measure(f).split is None and not isinstance(getattr(bare, f.name), list)
    }
    without = sample_hold("session", 1, replace(bare, **rest))
    parts = split_hold(without, without.result.onset_s + 9.0)
    assert [LOST_FLAG in part.result.flags for part in parts] == [False, False], "there was nothing to lose"
    parts = split_hold(replace(without, result=replace(without.result, toy_Hz=3.0)), without.result.onset_s + 9.0)
    assert [part.result.toy_Hz for part in parts] == [None, None]
    assert [LOST_FLAG in part.result.flags for part in parts] == [True, True]
    again = toy_hold(2, toy_Hz=3.0)
    joined = join_holds(replace(without, result=replace(without.result, toy_Hz=None)), again).result
    assert (joined.toy_Hz, LOST_FLAG in joined.flags) == (None, True)
    plain = replace(again, result=replace(again.result, toy_Hz=None))
    assert LOST_FLAG not in join_holds(toy_hold(1), plain).result.flags


# The rules, by hand.


def pieces() -> tuple[StoredHold, StoredHold]:
    first, second = toy_hold(1), toy_hold(2)
    a = replace(first.result, onset_s=10.0, release_s=20.0, duration_s=10.0)
    b = replace(second.result, onset_s=22.0, release_s=52.0, duration_s=30.0)
    return replace(first, result=a), replace(second, result=b)


def test_means_are_weighted_by_the_time_on_the_bar():
    first, second = pieces()
    a = replace(first.result, lateral_m=0.04, lateral_u_m=0.001, zero_bar_N=2.0, stillness=Stillness(1, 0, 0, 0, 0))
    b = replace(second.result, lateral_m=0.0, lateral_u_m=0.005, zero_bar_N=6.0, stillness=Stillness(0, 0, 1, 0, 0))
    one = join_holds(replace(first, result=a), replace(second, result=b)).result
    assert (one.lateral_m, one.lateral_u_m) == (pytest.approx(0.01), pytest.approx(0.004))
    assert one.zero_bar_N == pytest.approx(5.0), "the curve of the joined hold is drawn with it"
    assert one.stillness == Stillness(0.25, 0, 0.75, 0, 0)
    assert one.duration_s == 42.0, "the gap between them included"


def test_swings_are_joined_part_by_part():
    first, second = pieces()
    a = replace(first.result, swing=Swing(3.0, 2.0, None, [(11.0, 3.0, 0.1)], 0.85, 0.02))
    b = replace(second.result, swing=Swing(2.0, 1.0, 0.4, [(30.0, 2.0, 0.1)], 0.86, 0.03))
    one = join_holds(replace(first, result=a), replace(second, result=b)).result.swing
    rms = ((2.0**2 * 10 + 1.0**2 * 30) / 40) ** 0.5
    assert one == Swing(3.0, pytest.approx(rms), 0.4, [(11.0, 3.0, 0.1), (30.0, 2.0, 0.1)], 0.85, 0.02)


@pytest.mark.parametrize(
    ("kinds", "kind"),
    [(("active", "active"), "active"), (("active", "passive"), "mixed"), (("active", None), None)],
)
def test_kinds_that_differ_are_mixed(kinds, kind):
    first, second = pieces()
    a, b = (replace(hold.result, kind=word) for hold, word in zip((first, second), kinds, strict=True))
    assert join_holds(replace(first, result=a), replace(second, result=b)).result.kind == kind


@pytest.mark.parametrize(
    ("supports", "support"),
    [
        (("unassisted", "unassisted"), "unassisted"),
        (("unassisted", "assisted"), "assisted"),
        ((None, "assisted"), "assisted"),
        (("unassisted", None), None),
    ],
)
def test_help_in_either_hold_is_help(supports, support):
    first, second = pieces()
    a, b = (replace(hold.result, support=word) for hold, word in zip((first, second), supports, strict=True))
    assert join_holds(replace(first, result=a), replace(second, result=b)).result.support == support


def test_a_course_is_cut_where_the_hold_is_split():
    first, _ = pieces()
    course = [(10.5, 0.1, 0.01), (14.5, None, None), (15.5, 0.3, 0.01)]
    hold = replace(first, result=replace(first.result, assistance_course=course, zero_bar_N=2.0))
    early, late = split_hold(hold, 15.0)
    assert (early.result.assistance_course, late.result.assistance_course) == (course[:2], course[2:])
    assert early.result.zero_bar_N == late.result.zero_bar_N == 2.0


@pytest.mark.usefixtures("_toy_table")
def test_a_measure_declared_in_one_place_is_in_the_data_of_the_hold_page():
    from fastapi import FastAPI
    from fastapi.testclient import TestClient

    from monitor.dashboard.routes.holds import holds_routes

    class OneHold:
        def get_hold(self, uid: str) -> StoredHold:
            return toy_hold(1, toy_N=123.5, toy_u_N=0.5)

    app = FastAPI()
    app.include_router(holds_routes(OneHold()))
    page = TestClient(app)
    (row,) = [row for row in page.get("/hold-fields").json() if row["label"] == "toy"]
    assert (row["path"], row["uncertainty"], row["unit"]) == ("result.toy_N", "result.toy_u_N", "N")
    hold = page.get("/holds/session-001").json()
    assert (hold["result"]["toy_N"], hold["result"]["toy_u_N"]) == (123.5, 0.5)
