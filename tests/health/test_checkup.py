"""The check of a rig: an invented person on rigs that are in order, wired wrongly, or of other shapes."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from health_procedures import blocks_of, facts_of, procedure

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFault, LinkState
from monitor.demo.scripted_person import WEIGHT_N, ScriptedPerson
from monitor.demo.virtual_rig import demo_rig
from monitor.health.checkup import Checkup
from monitor.health.verdict import Verdict
from monitor.rig import Channel, Rig

STRONG = dataclasses.replace(
    demo_rig(), channels=tuple(dataclasses.replace(c, rated_N=3000.0) for c in demo_rig().channels)
)
LIGHT_kg = 90.0


def checked(person: ScriptedPerson, **more: object) -> dict[str, Verdict]:
    checkup = Checkup(person.rig, person.calibration, empty_s=20.0, heaviest_kg=LIGHT_kg, **more)  # type: ignore[arg-type]
    return {v.key: v for v in procedure(checkup, person).verdicts()}


def not_good(result: dict[str, Verdict]) -> set[str]:
    return {key for key, verdict in result.items() if verdict.outcome != "good"}


def test_a_rig_in_order_gets_good_verdicts():
    result = checked(ScriptedPerson(STRONG))
    assert not_good(result) == set()
    assert len(result) == 3 + 6 + 6 + 1 + 6 + 2 + 1 + 2
    assert result["rate"].numbers["measured_Hz"] == pytest.approx(80.0, abs=0.1)
    assert result["closure"].numbers["standing_N"] == pytest.approx(WEIGHT_N, rel=2e-3)


def test_swapped_cables_are_named():
    result = checked(ScriptedPerson(STRONG, swapped=("foot_fl", "foot_rr")))
    for one, other in (("foot_fl", "foot_rr"), ("foot_rr", "foot_fl")):
        assert result[f"press:{one}"].outcome == "bad"
        assert "swapped" in result[f"press:{one}"].words
        assert other in result[f"press:{one}"].do
    assert result["press:foot_fr"].outcome == "good"


def test_an_inverted_cell_is_named():
    result = checked(ScriptedPerson(STRONG, inverted=["bar_right"]))
    assert result["press:bar_right"].outcome == "bad"
    assert "S+ and S-" in result["press:bar_right"].do
    assert result["press:bar_left"].outcome == "good"
    assert result["closure"].outcome in ("bad", "not_told")


def test_a_loose_wire_is_named():
    result = checked(ScriptedPerson(STRONG, loose=["foot_rl"]))
    assert result["press:foot_rl"].outcome == "bad"
    assert "loose wire of foot_rl" in result["press:foot_rl"].do
    assert result["corners:platform"].outcome in ("bad", "not_told")


def test_a_third_support_opens_the_account():
    """A sling that is too tight takes 3 % of whoever hangs."""
    result = checked(ScriptedPerson(STRONG, third_support=0.03))
    assert result["closure"].outcome == "bad"
    assert result["closure"].numbers["misclosure, hanging"] == pytest.approx(-0.03, abs=0.002)
    assert "sling" in result["closure"].do
    assert not_good(result) == {"closure"}


def test_a_span_that_is_wrong_by_three_percent_shows_in_corners_and_account():
    person = ScriptedPerson(STRONG)
    foot = person.calibration.channels[2]
    wrong = dataclasses.replace(foot, N_per_count=1.03 * foot.N_per_count)
    channels = (*person.calibration.channels[:2], wrong, *person.calibration.channels[3:])
    person.calibration = dataclasses.replace(person.calibration, channels=channels)
    result = checked(person)
    assert result["corners:platform"].outcome != "good"
    sums = {key: value for key, value in result["corners:platform"].numbers.items() if key.endswith("_N")}
    assert max(sums, key=sums.__getitem__) == "foot_fl_N"


def test_without_a_calibration_wires_are_judged_and_sums_are_not():
    person = ScriptedPerson(STRONG, swapped=("bar_left", "bar_right"))
    checkup = Checkup(STRONG, None, empty_s=20.0, heaviest_kg=LIGHT_kg)
    result = {v.key: v for v in procedure(checkup, person).verdicts()}
    assert "swapped" in result["press:bar_left"].words
    assert {result[key].outcome for key in ("closure", "corners:platform", "zero")} == {"not_told"}
    assert checkup.zero() is None


def test_the_result_does_not_depend_on_how_the_stream_was_cut():
    reports = []
    for piece in (7, 40, 333):
        person = ScriptedPerson(STRONG)
        checkup = Checkup(STRONG, person.calibration, empty_s=20.0, with_person=False)
        checkup.take(facts_of(STRONG))
        first = 0
        whole = blocks_of(person, 0, 80 * 30)
        for block in whole:
            for a in range(0, len(block), piece):
                part = slice(a, a + piece)
                checkup.take(CountBlock(0, block.board_s[part], block.counts[part], 0 if a else block.lost_before))
            first += len(block)
        report = checkup.report("2026-01-01T00:00:00Z")
        # Losses are counted as far as the board was heard, which the pieces reach differently.
        report["verdicts"] = [v for v in report["verdicts"] if v["key"] not in ("losses", "rate")]
        reports.append(json.dumps(report["verdicts"]))
    assert reports[0] == reports[1] == reports[2]


def test_nobody_comes_and_the_check_ends_all_the_same():
    person = ScriptedPerson(STRONG)
    checkup = Checkup(STRONG, person.calibration, empty_s=20.0, heaviest_kg=LIGHT_kg)
    checkup.take(facts_of(STRONG))
    for minute in range(20):
        for block in blocks_of(person, minute * 4800, 4800):
            checkup.take(block)
    assert checkup.finished
    result = {v.key: v for v in checkup.verdicts()}
    assert {result[f"press:{name}"].outcome for name in STRONG.names} == {"bad"}
    assert {result["closure"].outcome, result["corners:platform"].outcome} == {"not_told"}


def test_the_empty_rig_is_watched_anew_when_somebody_steps_on_it():
    person = ScriptedPerson(STRONG)
    checkup = Checkup(STRONG, person.calibration, empty_s=20.0, with_person=False)
    first = 0
    for task, seconds in (("empty", 10), ("stand", 5), ("empty", 25)):
        person.begin(task)
        for block in blocks_of(person, first, 80 * seconds):
            checkup.take(block)
        first += 80 * seconds
    assert checkup.finished
    result = {v.key: v for v in checkup.verdicts()}
    assert result["zero"].outcome == "good"
    assert abs(checkup.zero().shift_N[2]) < 1.0


def test_a_silent_board_is_bad():
    checkup = Checkup(STRONG, None)
    checkup.take(LinkState("silent", 0, "no frame for 2 s", "Press reset."))
    checkup.give_up("The board has sent nothing for ten seconds.", "Check its cable.")
    result = {v.key: v for v in checkup.verdicts()}
    assert result["board"].outcome == "bad"
    assert "nothing" in result["board"].words
    assert result["rate"].outcome == "not_told"
    assert checkup.report("2026-01-01T00:00:00Z")["outcome"] == "bad"


def test_a_board_of_other_channels_is_bad_and_nothing_is_read_from_it():
    checkup = Checkup(STRONG, None)
    checkup.take(facts_of(STRONG, channels=2))
    checkup.take(CountBlock(0, np.arange(8) / 80, np.zeros((8, 2), dtype=np.int32)))
    assert checkup.finished
    assert checkup.verdicts()[0].outcome == "bad"


def test_faults_of_the_board_are_reported():
    person = ScriptedPerson(STRONG)
    checkup = Checkup(STRONG, person.calibration, empty_s=20.0, with_person=False)
    checkup.take(BoardFault(0, 1, 255, "the converter gives no readings"))
    result = {v.key: v for v in procedure(checkup, person).verdicts()}
    assert result["losses"].outcome == "bad"
    assert "the converter gives no readings" in result["losses"].words


BAR_TWO = STRONG.channels[:2]
FOOT = (Channel("foot", "platform", rated_N=3000.0),)
FEET_TWO = (Channel("foot_l", "platform", -0.2, rated_N=3000.0), Channel("foot_r", "platform", 0.2, rated_N=3000.0))


@pytest.mark.parametrize(
    ("channels", "absent", "present"),
    [
        (
            (Channel("hook", "bar", rated_N=3000.0),),
            {"closure", "corners:platform", "capacity:platform"},
            {"press:hook"},
        ),
        (BAR_TWO, {"closure", "corners:platform"}, {"press:bar_left", "mount"}),
        (BAR_TWO + FOOT, {"corners:platform"}, {"closure", "press:foot"}),
        (BAR_TWO + FEET_TWO, set(), {"closure", "corners:platform"}),
    ],
    ids=["one bar cell", "no platform", "platform of one cell", "platform of two"],
)
@pytest.mark.parametrize("rate_Hz", [80.0, 500.0])
def test_other_shapes_of_rig_get_the_tasks_they_allow(channels, absent, present, rate_Hz):
    rig = Rig("other", channels, nominal_rate_Hz=rate_Hz, mount_rating_N=3000.0)
    result = checked(ScriptedPerson(rig))
    assert not_good(result) == set()
    assert absent & set(result) == set()
    assert present <= set(result)
