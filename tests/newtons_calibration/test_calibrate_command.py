"""Plans, recorded readings, the sheet and the command: as a person or a script meets them."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from loaded_rig import BAR, FULL, ONE, LoadedRig, plan_for, quick_readings
from typer.testing import CliRunner

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.cli.app import app
from monitor.cli.terminal.prompts import ask_plan
from monitor.demo.practice import PracticeRig, practice_plan
from monitor.demo.virtual_rig import demo_rig
from monitor.newtons.calibrating.guided_calibration import GuidedCalibration
from monitor.newtons.calibrating.outcome import evaluate
from monitor.newtons.calibrating.plan import check_whole, load_plan, plan_from_dict
from monitor.newtons.calibrating.raw_readings import RawReadings, carry_out, read_readings
from monitor.newtons.calibrating.refusals import BadPlan, BadReadings, CellOverloaded
from monitor.newtons.calibrating.standard_plan import plan_answers
from monitor.newtons.calibrating.summary import outcome_to_dict
from monitor.newtons.calibration import latest_calibration, save_calibration
from monitor.reports.calibration_sheet import SheetNotWritten, sheet_figure, sheet_pdf, write_sheet
from monitor.reports.plot import notebook_settings
from monitor.rig import save_rig
from monitor.store import DataFolder

DOC = Path(__file__).parents[2] / "docs" / "calibration.md"
PLAN = """
latitude_deg = 48.2
dwell_s = 10
masses = [{ name = "A", kg = 20, tolerance_kg = 0.02 }, { name = "B", kg = 20, tolerance_kg = 0.02 }]

[[series]]
part = "bar"
masses = ["A", "B"]
"""


@pytest.fixture
def loaded(tmp_path) -> LoadedRig:
    """Return a rig with its description, a plan and readings of it in the folder."""
    save_rig(tmp_path / "rig.toml", ONE)
    (tmp_path / "plan.toml").write_text(PLAN)
    plan = load_plan(tmp_path / "plan.toml", ONE)
    made = LoadedRig(ONE, plan, 11)
    record = RawReadings(ONE)
    record.add(0, made.block(np.zeros(1), 40.0, 0.0))
    for step in plan.steps:
        record.begin(step.number)
        record.add(step.number, made.block(made.loads_N(step), 30.0, 50.0 * step.number, 0.02))
    (tmp_path / "readings.csv").write_bytes(record.csv())
    return made


def run(folder: Path, *more: str):
    arguments = ["calibrate", "--readings", str(folder / "readings.csv"), "--plan", str(folder / "plan.toml")]
    return CliRunner().invoke(app, [*arguments, "--data", str(folder), *more])


def test_recorded_readings_become_a_calibration_with_its_sheet(tmp_path, loaded):
    result = run(tmp_path, "--json")
    assert result.exit_code == 0, result.output
    printed = json.loads(result.stdout)
    saved = latest_calibration(tmp_path / "calibrations", ["hook"])
    channel = saved.channels[0]
    assert abs(channel.N_per_count / loaded.true_N_per_count[0] - 1) < 2.5 * channel.u_rel_span
    assert printed["calibration"]["channels"][0]["N_per_count"] == channel.N_per_count
    # WGS 84 at 48.2 degrees: between the values of 45 (9.80620) and 55 degrees (9.81507), see normal_gravity.json.
    assert 9.80620 < saved.gravity_m_s2 < 9.81507
    assert Path(printed["files"]["sheet"]).read_bytes().startswith(b"%PDF")
    assert printed["parts"][0]["verdict"] in ("pass", "unsure")
    # Into a folder of its own: two calibrations within a second are refused.
    (tmp_path / "again").mkdir()
    save_rig(tmp_path / "again" / "rig.toml", ONE)
    table = run(tmp_path, "--sheet", str(tmp_path / "again.pdf"), "--data", str(tmp_path / "again"))
    assert table.exit_code == 0, table.output
    assert "hook" in table.stdout
    assert "error envelope" in table.stdout
    assert len(list((tmp_path / "again" / "calibrations").glob("*.toml"))) == 1


def test_nothing_is_overwritten(tmp_path, loaded, monkeypatch):
    from monitor.cli.commands import calibrate

    class Stopped(dt.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(2026, 3, 2, 10, 15, tzinfo=tz)

    monkeypatch.setattr(calibrate.dt, "datetime", Stopped)
    assert run(tmp_path).exit_code == 0
    stored = {p: p.read_bytes() for p in (tmp_path / "calibrations").iterdir()}
    again = run(tmp_path)
    assert again.exit_code == 2
    assert "nothing was overwritten" in again.stderr
    assert {p: p.read_bytes() for p in (tmp_path / "calibrations").iterdir()} == stored


def test_a_refusal_saves_nothing_and_ends_with_status_2(tmp_path, loaded):
    (tmp_path / "plan.toml").write_text(PLAN.replace('"B", kg = 20', '"B", kg = 44.09').replace("0.02 }]", "0.04 }]"))
    result = run(tmp_path)
    assert result.exit_code == 2
    assert "pounds" in result.stderr
    assert "Traceback" not in result.output
    assert not list((tmp_path / "calibrations").iterdir())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Give one of --port"),
        (["--virtual", "--port", "/dev/null"], "Give one of --port"),
        (["--readings", "x.csv"], "Give --plan"),
        (["--virtual"], "--virtual --auto"),
    ],
)
def test_commands_that_cannot_start_say_what_to_do(tmp_path, arguments, words):
    result = CliRunner().invoke(app, ["calibrate", *arguments, "--data", str(tmp_path)])
    assert result.exit_code == 2
    assert words in result.stderr


def test_half_a_first_calibration_is_refused_before_anybody_lifts(tmp_path, loaded):
    # The monitor would not start with it: it needs a scale factor of every cell.
    save_rig(tmp_path / "rig.toml", FULL)
    result = run(tmp_path)
    assert result.exit_code == 2
    assert "leaves out the platform" in result.stderr
    assert "in one go" in result.stderr
    assert not list((tmp_path / "calibrations").iterdir())


def test_a_part_may_be_left_out_once_the_whole_rig_is_known(tmp_path):
    outcome = outcome_of(FULL, WHOLE)
    data = DataFolder.open(tmp_path)
    save_rig(data.rig_file, FULL)
    save_calibration(data.calibrations, outcome.calibration, dt.datetime(2026, 3, 2, 10, 15, tzinfo=dt.UTC))
    plan = plan_for(FULL, BOTH, wanted_u_rel=0.01)
    check_whole(plan, FULL, known=True)
    with pytest.raises(BadPlan, match="platform"):
        check_whole(plan, FULL, known=False)
    only_feet = plan_for(FULL, WHOLE[2:], wanted_u_rel=0.01)
    with pytest.raises(BadPlan, match="leaves out the bar"):
        check_whole(only_feet, FULL, known=False)
    # What is saved then holds every channel, so the monitor starts with it.
    again = evaluate(
        FULL,
        plan,
        quick_readings(LoadedRig(FULL, plan, 13)),
        at="2026-03-03T10:15:00Z",
        previous=latest_calibration(data.calibrations, FULL.names),
    )
    assert [c.channel for c in again.calibration.channels] == list(FULL.names)


def test_the_questions_leave_out_nothing_of_an_unknown_rig(monkeypatch):
    answers = iter(["20 10", "0.02", "48.2"])
    requested = []

    def answer(text, **more):
        requested.append(text)
        return next(answers)

    monkeypatch.setattr("monitor.cli.terminal.prompts.typer.prompt", answer)
    assert ask_plan(FULL, whole=True).parts == ("bar", "platform")
    assert not [text for text in requested if "bar, platform or both" in text]
    feet_alone = replace(FULL, channels=tuple(c for c in FULL.channels if c.part == "platform"))
    answers = iter(["20 10", "0.02", "48.2"])
    assert ask_plan(feet_alone, whole=False).parts == ("platform",)


def test_a_practice_is_not_saved_where_a_real_rig_would_use_it(tmp_path, loaded):
    result = CliRunner().invoke(app, ["calibrate", "--virtual", "--auto", "--data", str(tmp_path)])
    assert result.exit_code == 2
    assert "describes a real rig" in result.stderr
    assert not list((tmp_path / "calibrations").iterdir())


def test_a_practice_runs_over_the_wire_by_itself(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.replace('part = "bar"', 'part = "bar"\nat = "bar_left"'))
    plan.write_text(plan.read_text() + '\n[[series]]\npart = "bar"\nat = "bar_right"\nmasses = ["A", "B"]\n')
    arguments = ["calibrate", "--virtual", "--auto", "--speed", "60", "--plan", str(plan), "--json", "--data"]
    result = CliRunner().invoke(app, [*arguments, str(tmp_path)])
    assert result.exit_code == 0, result.output
    printed = json.loads(result.stdout)
    truth = PracticeRig(demo_rig(), load_plan(plan, demo_rig()), seed=1).electronics.counts_per_N
    for number, cell in enumerate(printed["parts"][0]["cells"]):
        assert abs(cell["N_per_count"] * truth[number] - 1) < 3.5 * cell["u_rel_span"]
    assert "not calibrated: foot_fl" in " ".join(printed["flags"])
    # The saved readings give the same result: any later version can compute it again.
    rig, made = demo_rig(), load_plan(plan, demo_rig())
    machine = GuidedCalibration(rig, made)
    carry_out(machine, read_readings(printed["files"]["readings"], rig))
    again = machine.finish(printed["at"]).calibration
    for stored, fresh in zip(printed["calibration"]["channels"], again.channels, strict=True):
        assert fresh.N_per_count == pytest.approx(stored["N_per_count"], rel=1e-6)


def test_the_practice_rig_balances_forces_and_moments():
    rig = demo_rig()
    data = plan_answers(rig, ["bar", "platform"], [20.0, 10.0], 0.02, 45.0)
    plan = plan_from_dict(data, rig)
    practice = PracticeRig(rig, plan)
    assert len({s.place for s in plan.steps}) == 2 + 5
    for step in plan.steps:
        loads = practice._shared_N(step)
        total = sum(practice.true_kg[m] for m in step.masses) * plan.gravity_m_s2 * (1 - 1.2 / 8000)
        assert loads.sum() == pytest.approx(total)
        moment = sum(load * channel.x_m for load, channel in zip(loads, rig.channels, strict=True))
        assert moment == pytest.approx(total * (step.place.x_m or 0.0), abs=1e-9)
    assert practice_plan(rig).parts == ("bar",)


def test_raw_readings_come_back_as_they_were(tmp_path):
    record = RawReadings(BAR)
    counts = np.array([[1, -2], [NO_READING, 8388607]], dtype=np.int32)
    record.add(3, CountBlock(0, np.array([0.1, 0.1125]), counts))
    record.begin(4)
    record.add(4, CountBlock(0, np.array([9.0]), counts[:1]))
    record.begin(4)
    record.add(4, CountBlock(0, np.array([10.0]), counts[1:]))
    (tmp_path / "r.csv").write_bytes(record.csv())
    back = read_readings(tmp_path / "r.csv", BAR)
    assert sorted(back) == [3, 4]
    np.testing.assert_array_equal(back[3].counts, counts)
    assert back[4].board_s.tolist() == [10.0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "does not begin with"),
        ("t_s,step,left\n", "does not begin with"),
        ("t_s,step,left,right\n0,1,5\n", "Line 2"),
        ("t_s,step,left,right\n0,1,5,x\n", "Line 2"),
        ("t_s,step,left,right\n0,1,5,99999999999\n", "32 bits"),
        ("t_s,step,left,right\n1,1,5,5\n0,1,5,5\n", "backwards"),
    ],
)
def test_unusable_readings_are_refused_by_line(tmp_path, text, words):
    (tmp_path / "r.csv").write_text(text)
    with pytest.raises(BadReadings, match=words):
        read_readings(tmp_path / "r.csv", BAR)


def test_readings_that_are_too_short_or_missing_are_refused(loaded):
    plan = loaded.plan
    blocks = {s.number: loaded.block(loaded.loads_N(s), 5.0, 50.0 * s.number) for s in plan.steps}
    with pytest.raises(BadReadings, match="5 s of readings"):
        carry_out(GuidedCalibration(ONE, plan), blocks)
    with pytest.raises(BadReadings, match="no readings of step 1"):
        carry_out(GuidedCalibration(ONE, plan), {})


MASSES = [{"name": "A", "kg": 20.0}, {"name": "B", "kg": 10.0}]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"series": []}, "hangs nothing"),
        ({"series": [{"part": "bar", "masses": ["A"]}]}, "one load only"),
        ({"series": [{"part": "bar", "masses": ["A", "C"]}]}, "no mass of the plan"),
        ({"series": [{"part": "bar", "masses": ["A", "A"]}]}, "twice"),
        ({"series": [{"part": "roof", "masses": ["A", "B"]}]}, "part of a series"),
        ({"series": [{"part": "platform", "masses": ["A", "B"]}]}, "has no platform"),
        ({"series": [{"part": "bar", "at": "middle", "masses": ["A", "B"]}]}, "no place"),
        ({"masses": [{"name": "A", "kg": -1}]}, "-1 kg"),
        ({"masses": [{"name": "A", "kg": 10, "u_kg": 0}]}, "known to 0 kg"),
        ({"masses": [{"name": "A", "kg": "ten"}]}, "kg in A"),
        ({"wanted_u_rel": 5}, "wanted_u_rel"),
        ({"grade": "Z"}, "grade 'Z'"),
        ({"colour": 1}, "unknown key"),
    ],
)
def test_plans_that_cannot_be_are_refused(change, words):
    plan = {"masses": MASSES, "series": [{"part": "bar", "masses": ["A", "B"]}]} | change
    with pytest.raises(BadPlan, match=words):
        plan_from_dict(plan, BAR)


def test_a_plan_that_overloads_the_rig_is_refused_before_anybody_lifts():
    heavy = [{"name": n, "kg": 110.0} for n in "AB"]
    with pytest.raises(CellOverloaded, match="rated for 2000 N"):
        plan_for(BAR, [{"part": "bar", "at": "left", "masses": ["A", "B"]}], masses=heavy)


def test_gravity_that_nobody_gave_is_uncertain():
    nowhere = plan_for(replace(ONE, gravity_m_s2=9.80665), [{"part": "bar", "masses": ["A", "B"]}])
    # Between equator and poles lie 9.780 and 9.832: +-0.026 as a rectangle is 0.015 m/s^2 (JCGM 100, 4.3.7).
    assert nowhere.u_gravity_m_s2 == pytest.approx(0.015, abs=2e-4)
    assert plan_for(ONE, [{"part": "bar", "masses": ["A", "B"]}]).u_gravity_m_s2 == 5e-4


def outcome_of(rig, series, **more):
    plan = plan_for(rig, series, wanted_u_rel=0.01, **more)
    return evaluate(rig, plan, quick_readings(LoadedRig(rig, plan, 12)), at="2026-03-02T10:15:00Z")


BOTH = [{"part": "bar", "at": side, "masses": list("ABC")} for side in ("left", "right")]
CORNERS = [[0, 0], [-0.12, 0.1], [0.12, 0.1], [-0.12, -0.1], [0.12, -0.1]]
WHOLE = BOTH + [{"part": "platform", "at": at, "masses": list("ABC")} for at in CORNERS]


@pytest.mark.parametrize(("rig", "series"), [(ONE, [{"part": "bar", "masses": list("AB")}]), (FULL, WHOLE)])
def test_the_sheet_is_one_page_with_everything_on_it(tmp_path, rig, series):
    outcome = outcome_of(rig, series, temperature_degC=21.5)
    with notebook_settings():
        figure = sheet_figure(outcome)
        figure.draw_without_rendering()
        words = [t for t in figure.texts if t.get_text()]
        boxes = [t.get_window_extent() for t in words]
    page = figure.bbox
    assert all(page.x0 <= b.x0 and b.x1 <= page.x1 and page.y0 <= b.y0 and b.y1 <= page.y1 for b in boxes)
    overlapping = [
        (a.get_text(), b.get_text())
        for i, (a, one) in enumerate(zip(words, boxes, strict=True))
        for b, two in list(zip(words, boxes, strict=True))[i + 1 :]
        if one.overlaps(two)
    ]
    assert overlapping == []
    text = " ".join(t.get_text() for t in words)
    for name in (*rig.names, "21.5 °C", "gravity 9.8100", "creep", "degrees of freedom", "OIML R 60"):
        assert name in text
    pdf = sheet_pdf(outcome)
    assert sheet_pdf(outcome) == pdf
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1
    with pytest.raises(SheetNotWritten):
        write_sheet(tmp_path / "none" / "sheet.pdf", outcome)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_sheet_can_be_read_by_another_program(tmp_path):
    write_sheet(tmp_path / "sheet.pdf", outcome_of(BAR, BOTH))
    text = subprocess.run(["pdftotext", "-layout", str(tmp_path / "sheet.pdf"), "-"], capture_output=True, check=True)
    assert "Calibration of bar" in text.stdout.decode()


def test_the_result_as_data_is_json_and_adds_up():
    printed = json.loads(json.dumps(outcome_to_dict(outcome_of(FULL, WHOLE)), allow_nan=False))
    assert [p["part"] for p in printed["parts"]] == ["bar", "platform"]
    for cell in printed["parts"][1]["cells"]:
        parts = list(cell["budget_rel"].values())
        assert cell["u_rel_span"] == pytest.approx(np.sqrt(np.sum(np.square(parts))))
        channel = next(c for c in printed["calibration"]["channels"] if c["channel"] == cell["channel"])
        assert channel["u_rel_span"] == pytest.approx(cell["u_rel_span"], rel=1e-6)


def test_the_plans_of_the_docs_are_good_plans():
    examples = re.findall(r"```toml\n(.*?)```", DOC.read_text(encoding="utf-8"), re.DOTALL)
    assert len(examples) >= 2
    import tomllib

    for example in examples:
        assert plan_from_dict(tomllib.loads(example), demo_rig()).steps
