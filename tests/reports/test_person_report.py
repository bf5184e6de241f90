"""A person's report: the PDF is read back by another library, its words are compared with the store's numbers."""

from __future__ import annotations

import datetime as dt
import io
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from monitor.coaching.coaching_service import CoachingService
from monitor.errors import BadInput
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult, Swing, Touch
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.reports import typeset as typesetting
from monitor.reports.charts import round_step, ticks
from monitor.reports.person_report import bound, report_data
from monitor.reports.rig_words import rig_lines
from monitor.reports.typeset import TypesetterMissing, typeset
from monitor.store import hold_uid, open_store

NOW = dt.datetime(2026, 6, 30, 12, 0, tzinfo=dt.UTC)
DAY_ns = 86_400 * 10**9
RIG = {
    "name": "Test rig <&>",
    "channels": [{"name": "bar_left", "part": "bar"}, {"name": "bar_right", "part": "bar"},
                 {"name": "foot_fl", "part": "platform"}],
    "nominal_rate_Hz": 80.0,
    "invented": True,
}  # fmt: skip
CALIBRATION = {
    "id": "c-1",
    "channels": [
        {"channel": "bar_left", "u_rel_span": 0.0004, "zero_at": "2026-05-30T10:00:00", "span_at": "2026-04-02"},
        {"channel": "bar_right", "u_rel_span": 0.0003, "zero_at": "2026-05-31T10:00:00", "span_at": "2026-04-03"},
    ],
}
CRUEL_NAME = '#panic("x") *b* _i_ $x^2$ <a> @ref ] } \\ `r` "q" // /* = head'


def result(duration_s: float, alpha: float, kind: str) -> HoldResult:
    return HoldResult(
        onset_s=10.0,
        release_s=10.0 + duration_s,
        duration_s=duration_s,
        duration_u_s=0.02,
        kind=kind,  # type: ignore[arg-type]
        support="unassisted" if alpha < 0.02 else "assisted",
        beta_mean=1 - alpha,
        beta_u=0.001,
        alpha_mean=alpha,
        alpha_u=0.001,
        alpha_direct=True,
        clean_s=duration_s,
        dose_bw_s=duration_s * (1 - alpha),
        swing=Swing(1.0, 0.7, 0.44, []),
        touches=[Touch(14.0, 14.4, 0.1)],
    )


@pytest.fixture
def coaching(tmp_path):
    with open_store(tmp_path / "h.sqlite") as store:
        yield CoachingService(store, lambda: round(NOW.timestamp()) * 10**9)


def fill(coaching: CoachingService, name: str = "Ada", days: int = 28) -> str:
    """Keep a person with an assisted hold a day that gets longer and lighter, and one free hold at the end."""
    uid = coaching.add_person(name, stature_m=1.7).uid
    for day in range(days):
        at_ns = round(NOW.timestamp()) * 10**9 - (days - 1 - day) * DAY_ns
        session = coaching.store.begin_session(at_ns, RIG, CALIBRATION, uid=f"session-{uid}-{day}", person_uid=uid)
        last = day == days - 1
        made = result(47.13, 0.0, "passive") if last else result(30.0 + day / 10, 0.4 - day / 100, "active")
        hold = StoredHold(hold_uid(session, 1), session, 1, at_ns, 700.0, 0.5, made, MEASUREMENT_VERSION, target_s=30.0)
        coaching.store.save_hold(hold)
        coaching.store.end_session(session, at_ns + 60 * 10**9)
    return uid


def curve_of(_uid: str):
    t_s = np.arange(0, 70, 1 / 80)
    on = (t_s > 10) & (t_s < 57)
    bar = np.where(on, 350.0, 0.0)
    return t_s, ("bar_left", "bar_right", "foot_fl"), np.column_stack([bar, bar, np.where(on, 0.0, 700.0)])


def made(coaching, uid, **more) -> bytes:
    return typeset(report_data(coaching, uid, None, None, NOW, curve_of, "9.9.9", **more), NOW)


def words_of(pdf: bytes) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


def test_the_pdf_has_the_numbers_of_the_store_on_at_most_three_pages(coaching):
    pdf = made(coaching, uid := fill(coaching))
    words, outcome = words_of(pdf), coaching.progress(uid)
    assert 1 <= len(PdfReader(io.BytesIO(pdf)).pages) <= 3
    assert outcome.longest_passive.value == 47.13
    assert "47.13 ± 0.02 s" in words
    assert re.search(rf"\b28\b.*\bholds\b.*\b{outcome.dose_bw_s:.0f}\b.*bodyweight-seconds", words)
    # By hand: days 0 to 13 had 40 to 27 % help, days 14 to 26 had 26 to 14 % and the last none.
    assert "33.5 %" in words
    assert f"{sum(range(14, 27)) / 14:.1f} %" in words
    assert "Span calibrated on 2 April 2026, known to 0.04 %; zero on 30 May 2026." in words
    assert "3 June 2026 to 30 June 2026" in words
    assert "clears nobody" in words
    assert "invented: no such person" in words


def test_what_comes_next_is_what_the_coaching_prescribes(coaching):
    uid = coaching.add_person("Ada").uid
    at_ns = round(NOW.timestamp()) * 10**9 - DAY_ns
    session = coaching.store.begin_session(at_ns, RIG, CALIBRATION, person_uid=uid)
    for number, duration_s in enumerate((28.0, 33.0, 26.0), start=1):
        made_of = result(duration_s, 0.1, "passive")
        uid_of = hold_uid(session, number)
        coaching.store.save_hold(
            StoredHold(uid_of, session, number, at_ns, 700.0, 0.5, made_of, MEASUREMENT_VERSION, target_s=60.0)
        )
    words, prescribed = words_of(made(coaching, uid)), coaching.prescribe(uid)
    for item in prescribed.items:
        assert item.title in words
        assert f"{item.target_s:.0f} s" in words
    assert f"is {100 * prescribed.chance_unassisted.value:.0f} % (four fifths" in words


@pytest.mark.parametrize("name", [CRUEL_NAME, "=1+1", "O'Neil-Żółć", "Ω Δ Жан", "x" * 110])
def test_no_name_is_read_as_markup(coaching, name):
    uid = fill(coaching, name, days=3)
    pdf = made(coaching, uid)
    assert name.replace(" ", "") in words_of(pdf).replace(" ", "").replace("\xad", "") or len(name) > 100
    assert PdfReader(io.BytesIO(pdf)).metadata.title == f"Report of {name}"


def test_the_same_report_has_the_same_bytes(coaching):
    uid = fill(coaching, days=5)
    assert made(coaching, uid) == made(coaching, uid)


def test_a_person_without_a_hold_gets_a_page_that_says_so(coaching):
    uid = coaching.add_person("Nobody yet").uid
    words = words_of(made(coaching, uid))
    assert "No hang in this period." in words
    assert "Nothing was measured in this period." in words


def test_a_very_active_person_still_fits_three_pages(coaching):
    uid = coaching.add_person("Busy").uid
    for day in range(90):
        at_ns = round(NOW.timestamp()) * 10**9 - day * DAY_ns
        session = coaching.store.begin_session(at_ns, RIG, CALIBRATION, uid=f"session-{day}", person_uid=uid)
        for number in range(1, 5):
            hold = StoredHold(
                hold_uid(session, number), session, number, at_ns + number * 10**10, 700.0, 0.5,
                result(30.0 + number, 0.1, "passive"), MEASUREMENT_VERSION,
            )  # fmt: skip
            coaching.store.save_hold_later(hold)
    assert len(PdfReader(io.BytesIO(made(coaching, uid))).pages) <= 3


def test_a_period_must_not_end_before_it_begins(coaching):
    uid = fill(coaching, days=2)
    with pytest.raises(BadInput):
        report_data(coaching, uid, dt.date(2026, 6, 30), dt.date(2026, 6, 1), NOW)


def test_help_indistinguishable_from_none_is_reported_as_none(coaching):
    """By hand: the last hold has 0.0 +- 0.1 % help; without it the least help is 14 % on the day before."""
    uid = fill(coaching)
    assert report_data(coaching, uid, None, None, NOW)["bests"][2][1] == "none"
    before = report_data(coaching, uid, None, dt.date(2026, 6, 29), NOW)["bests"][2]
    assert before[1] == "14.00 ± 0.10 % of bodyweight"


def test_only_holds_of_the_period_are_reported(coaching):
    uid = fill(coaching)
    data = report_data(coaching, uid, dt.date(2026, 6, 3), dt.date(2026, 6, 12), NOW)
    assert data["summary"][0] == ["10", "holds"]
    assert data["bests"][0][1] == "none yet"


def test_curves_are_those_of_the_key_holds_with_their_edges(coaching):
    uid = fill(coaching)
    curves = report_data(coaching, uid, None, None, NOW, curve_of)["curves"]
    assert len(curves) == 3
    assert curves[-1]["title"] == "30 June 2026: the longest passive hang"
    chart = curves[-1]["chart"]
    # By hand: 3 s before the onset of 53.13 s in all; 700 N are 71.4 kgf (9.80665 N each).
    assert chart["edges"][0] == pytest.approx(3.0 / 53.13, abs=1e-9)
    assert chart["y"][2][1] == "71.4 kgf"
    assert [line["label"] for line in chart["lines"]] == ["hands", "feet"]
    assert chart["below"][0]["label"] == "touch"


def test_units_stay_with_their_numbers():
    assert bound("13% in 30 s, 5 of 6 men, 2 % and 4 min").split(" ") == [
        "13\u00a0%", "in", "30\u00a0s,", "5", "of", "6", "men,", "2\u00a0%", "and", "4\u00a0min",
    ]  # fmt: skip


def test_a_missing_typesetter_is_reported(coaching, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(TypesetterMissing) as error:
        typeset({}, NOW)
    assert "[report]" in error.value.do


def test_a_rejected_report_is_reported():
    with pytest.raises(typesetting.ReportNotSet):
        typeset({"person": "Ada"}, NOW)


@pytest.mark.parametrize(("span", "count", "step"), [(10, 5, 2), (1.08 * 31, 4, 10), (0.4, 4, 0.1), (7, 7, 1)])
def test_steps_of_axes_are_round(span, count, step):
    assert round_step(span, count) == pytest.approx(step)


def test_ticks_lie_where_their_labels_say():
    outcome = ticks(-5.0, 20.0, 5, "N")
    assert [float(label.removesuffix(" N")) for _, label in outcome] == pytest.approx([-5 + 25 * f for f, _ in outcome])
    assert outcome[-1][1].endswith(" N")


def test_a_rig_without_calibration_or_platform_is_described_as_such():
    bare = StoredSession(
        "s", 0, 1, "j", {"name": "Bar", "channels": [{"name": "b", "part": "bar"}]}, None, None, None, False
    )
    assert rig_lines([bare]) == [
        "Bar: 1 cell under the bar, no platform: help is inferred. No calibration is stored with it. (1 session)"
    ]


def test_the_template_loads_nothing_from_outside():
    text = (Path(typesetting.__file__).parent / "report.typ").read_text()
    assert "@preview" not in text
    assert not re.search(r"\b(?:image|read|include|import)\b\s*[(\"]", text)
