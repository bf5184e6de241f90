"""Verdicts by themselves: ratings, rates, noise, corners; the page; the history."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest
from health_procedures import facts_of, procedure

from monitor.demo.scripted_person import ScriptedPerson
from monitor.demo.virtual_rig import demo_rig
from monitor.health.board import answer_verdict, loss_verdict, rate_verdict
from monitor.health.cells import drift_verdict, expected_counts, noise_verdict, press_verdicts, stillness
from monitor.health.check_history import CheckNotSaved, save_check, saved_checks
from monitor.health.check_page import check_page
from monitor.health.checkup import Checkup
from monitor.health.load_agreement import Standing, closure_verdict, corner_verdict, u_of_ratio
from monitor.health.ratings import DYNAMIC_FACTOR, rating_verdicts
from monitor.health.verdict import graded, worst
from monitor.health.zero import RigNotEmpty, RigNotStill, read_zero
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Channel, Rig

RIG = demo_rig()
AT = "2026-03-02T10:15:00Z"
NOW = dt.datetime(2026, 3, 2, 10, 15, tzinfo=dt.UTC)


def outcomes(rig: Rig, kg: float, peak_N: float | None = None) -> dict[str, str]:
    return {v.key: v.outcome for v in rating_verdicts(rig, kg, peak_N)}


def test_the_dynamic_factor_is_that_of_a_suddenly_applied_load():
    """Energy: W (d + ...) with F = k d and W d = k d^2 / 2 gives F = 2 W (textbook mechanics; hardware/loads.md)."""
    weight_N, stiffness = 700.0, 3e4
    stretch = 2 * weight_N / stiffness
    assert weight_N * stretch == pytest.approx(stiffness * stretch**2 / 2)
    assert pytest.approx(stiffness * stretch / weight_N) == DYNAMIC_FACTOR


@pytest.mark.parametrize(
    ("kg", "rated_N", "mount_N", "peak_N", "mount", "bar"),
    [
        (130.0, 3000.0, 3000.0, None, "good", "good"),  # 2 * 130 * 9.80665 = 2550 N, as in hardware/loads.md
        (160.0, 3000.0, 3000.0, None, "bad", "bad"),
        (130.0, 2500.0, 3000.0, None, "good", "bad"),
        (130.0, None, 3000.0, None, "good", "doubtful"),
        (130.0, 3000.0, None, None, "bad", "good"),
        (130.0, 3000.0, 3000.0, 3100.0, "bad", "good"),
    ],
)
def test_ratings_against_the_expected_peak(kg, rated_N, mount_N, peak_N, mount, bar):
    rig = replace(RIG, mount_rating_N=mount_N, channels=tuple(replace(c, rated_N=rated_N) for c in RIG.channels))
    result = outcomes(rig, kg, peak_N)
    assert (result["mount"], result["capacity:bar"]) == (mount, bar)


def test_the_mount_verdict_names_the_heaviest_person():
    (mount, *_) = rating_verdicts(replace(RIG, mount_rating_N=2000.0), 130.0)
    assert "Nobody above 102 kg" in mount.do  # 2000 / (2 * 9.80665)


@pytest.mark.parametrize(
    ("measured_Hz", "outcome", "word"),
    [(80.2, "good", ""), (74.0, "doubtful", "nominal"), (10.8, "bad", "RATE pin"), (None, "not_told", "")],
)
def test_the_measured_rate(measured_Hz, outcome, word):
    verdict = rate_verdict(RIG, facts_of(RIG), measured_Hz)
    assert verdict.outcome == outcome
    assert word in verdict.do


def test_losses_and_answers():
    assert loss_verdict(10_000, 5, 0, ()).outcome == "good"
    assert loss_verdict(10_000, 50, 2, ()).outcome == "doubtful"
    assert loss_verdict(10_000, 500, 2, ()).outcome == "bad"
    assert answer_verdict(RIG, facts_of(RIG, channels=4), "", "").outcome == "bad"


def test_noise_against_the_converters_own():
    """HX711: 90 nV of 13.2 mV full scale are 90e-9 / 13.2e-3 * 2^23 = 57.2 counts."""
    assert expected_counts("HX711 x 6", 80.0) == pytest.approx(90e-9 / 13.2e-3 * 2**23, rel=0.01)
    assert expected_counts("ADS131M08", 250.0) == pytest.approx(0.3e-6 / 9.375e-3 * 2**23 / 2, rel=0.02)
    assert expected_counts("text", 80.0) is None
    rng = np.random.default_rng(3)
    for counts, outcome in ((60, "good"), (200, "doubtful"), (600, "bad")):
        cell = stillness("c", 1e-3 * np.round(counts * rng.standard_normal(4800)), 80.0, 1e-3)
        assert noise_verdict(cell, "HX711 x 1", 80.0).outcome == outcome
    assert noise_verdict(stillness("c", np.full(4800, 12.0), 80.0, 1e-3), "HX711 x 1", 80.0).outcome == "bad"
    assert noise_verdict(stillness("c", np.full(4800, np.nan), 80.0, 1e-3), "HX711 x 1", 80.0).outcome == "bad"


def test_drift_is_a_slope():
    t_min = np.arange(4800) / 4800
    rng = np.random.default_rng(3)
    for slope, outcome in ((0.1, "good"), (-0.4, "doubtful"), (1.0, "bad")):
        cell = stillness("c", slope * t_min + 0.3 * rng.standard_normal(4800), 80.0, 1e-3)
        assert drift_verdict(cell, 60.0).outcome == outcome
        assert cell.drift_N_per_min == pytest.approx(slope, abs=0.06)  # four of 0.3 sqrt(12 / 4800)


def test_a_wild_reading_is_no_noise():
    load_N = 0.3 * np.random.default_rng(4).standard_normal(4800)
    quiet = stillness("c", load_N, 80.0, 1e-3).noise_N
    load_N[1000] = 8388.0
    assert stillness("c", load_N, 80.0, 1e-3).noise_N == pytest.approx(quiet, rel=0.01)


def test_a_press_next_to_a_cell_is_doubtful_and_a_tie_is_the_cells_own():
    rig = Rig("two", (Channel("a", "bar", -0.5), Channel("b", "bar", 0.5)))
    beside = {"a": np.array([60.0, 100.0]), "b": np.array([20.0, 100.0])}
    assert [v.outcome for v in press_verdicts(rig, beside)] == ["doubtful", "good"]
    tie = {"a": np.array([95.0, 100.0]), "b": np.array([20.0, 100.0])}
    assert [v.outcome for v in press_verdicts(rig, tie)] == ["good", "good"]


def calibration(u_common: float, u_own: float) -> Calibration:
    channels = tuple(ChannelCalibration(c.name, 0.0, 1e-3) for c in RIG.channels)
    matrix = u_common**2 + u_own**2 * np.eye(6)
    return Calibration(channels, "c", tuple(tuple(row) for row in matrix.tolist()))


def test_what_two_sums_have_in_common_does_not_count_in_their_ratio():
    """Own errors of 1e-3: standing on four cells, hanging on two: sqrt(4 / 16 + 2 / 4) 1e-3 by hand."""
    standing, hanging = Standing(np.array([0.0, 0, 175, 175, 175, 175])), Standing(np.array([350.0, 350, 0, 0, 0, 0]))
    assert u_of_ratio(calibration(1e-2, 0.0), hanging, standing) == pytest.approx(0.0, abs=1e-9)
    assert u_of_ratio(calibration(1e-2, 1e-3), hanging, standing) == pytest.approx(1e-3 * 0.75**0.5)


def test_corners_and_account_are_judged_by_what_the_calibration_allows():
    standing = Standing(np.array([0.0, 0, 175, 175, 175, 175]))
    hanging = Standing(np.array([354.0, 354, 0, 0, 0, 0]))  # 1.1 % more
    exact, loose = calibration(0.0, 1e-4), calibration(0.0, 8e-3)
    assert closure_verdict(standing, [("hanging", hanging)], exact).outcome == "bad"
    assert closure_verdict(standing, [("hanging", hanging)], loose).outcome == "good"
    assert closure_verdict(None, [("hanging", hanging)], exact).outcome == "not_told"
    corner = Standing(np.array([0.0, 0, 600, 40, 40, 32]))  # 1.7 % more than 700 N
    result = corner_verdict("platform", {"foot_fl": corner, "foot_fr": standing, "foot_rl": None}, exact)
    assert result.outcome == "doubtful"
    assert "Not tried: foot_rl" in result.words


def test_outcomes_are_ranked():
    assert [graded(x, 1.0, 2.0) for x in (0.5, 1.5, 2.5, float("nan"))] == ["good", "doubtful", "bad", "bad"]
    assert worst([]) == "not_told"


# Zero


def readings(level_N: float = 0.0, wave_N: float = 0.0, dead: int | None = None) -> np.ndarray:
    rng = np.random.default_rng(5)
    load_N = level_N / 6 + 0.3 * rng.standard_normal((800, 6)) + wave_N * np.sin(np.arange(800) / 60)[:, None]
    counts = np.round(load_N * 1000).astype(np.int32) + 500
    if dead is not None:
        counts[:, dead] = -(2**31)
    return counts


def test_a_zero_of_an_empty_still_rig_with_its_uncertainty():
    result = read_zero(RIG, calibration(0.0, 1e-3), readings(), 80.0)
    assert result.counts == pytest.approx([500.0] * 6, abs=4 * 300 / 800**0.5)
    assert result.u_counts == pytest.approx([300 / 800**0.5] * 6, rel=0.3)  # 300 counts of noise, 800 readings
    assert result.shift_N == pytest.approx([0.5] * 6, abs=0.05)
    assert result.unusual == ()
    fresh = result.applied(calibration(0.0, 1e-3), AT)
    assert fresh.channels[0].zero_counts == result.counts[0]
    assert fresh.channels[0].zero_at == AT
    assert fresh.span_covariance == calibration(0.0, 1e-3).span_covariance


def test_no_zero_of_a_rig_that_is_loaded_moves_or_is_dumb():
    with pytest.raises(RigNotEmpty):
        read_zero(RIG, calibration(0.0, 1e-3), readings(level_N=600.0), 80.0)
    with pytest.raises(RigNotStill):
        read_zero(RIG, calibration(0.0, 1e-3), readings(wave_N=3.0), 80.0)
    with pytest.raises(RigNotStill, match="foot_fr"):
        read_zero(RIG, calibration(0.0, 1e-3), readings(dead=3), 80.0)


# Page and history


@pytest.fixture(scope="module")
def report() -> dict:
    person = ScriptedPerson(RIG, swapped=("bar_left", "bar_right"))
    return procedure(Checkup(RIG, person.calibration, empty_s=10.0), person).report(AT)


def test_the_page_shows_every_verdict_and_fetches_nothing(report):
    text = check_page(report, [report])
    for verdict in report["verdicts"]:
        assert verdict["words"].replace("'", "&#x27;").replace("&", "&amp;") in text.replace("&#x27;", "&amp;#x27;")
    assert "swapped" in text
    assert "hang-monitor zero" in text
    assert "Allan deviation, N" in text
    assert "Earlier checks" in text
    assert not re.search(r"(?:src|href)\s*=|url\(|https?:|@import|<script", text)


def test_names_in_the_page_are_text_and_not_markup(report):
    text = check_page({**report, "rig": "<script>alert(1)</script>"})
    assert "<script" not in text


def test_the_page_is_legible_without_colours(report):
    colours = set(re.findall(r"#[0-9a-f]{3,6}\b", check_page(report)))
    assert all(len(set(colour[1:4])) == 1 for colour in colours), "only greys"
    assert "TO BE MENDED".lower() in check_page(report)


def test_checks_are_saved_and_never_overwritten(tmp_path, report):
    data, page = save_check(tmp_path, report, NOW)
    assert saved_checks(tmp_path) == [report]
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert data.stat().st_mode & 0o077 == 0
    with pytest.raises(CheckNotSaved):
        save_check(tmp_path, report, NOW)
    _, later = save_check(tmp_path, report, NOW + dt.timedelta(days=1))
    assert "Earlier checks" in later.read_text(encoding="utf-8")
    (tmp_path / "checks" / "2026-03-04T000000Z.json").write_text("{ cut off")
    assert len(saved_checks(tmp_path)) == 2
