"""``hang-monitor person, programme, prescribe, progress, hold``: one form of answers, nothing lost."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from monitor.cli import app
from monitor.coaching.people.programme import template_text
from monitor.records.hold_result import Swing
from monitor.store import DataFolder, open_store

sys.path += [str(Path(__file__).parents[1] / name) for name in ("coaching", "store")]
import time

from invented import DAY_ns, hold_at
from store_samples import RIG


def run(data: Path, *arguments: object, status: int = 0) -> Result:
    done = CliRunner().invoke(app, [*(str(a) for a in arguments), "--data", str(data)], catch_exceptions=False)
    assert done.exit_code == status, done.output
    return done


@pytest.fixture
def anna(tmp_path) -> str:
    made = run(tmp_path, "person", "add", "Anna K.", "--stature", "1.7", "--time-zone", "Europe/Vienna")
    return made.stdout.strip()


@pytest.fixture
def session(tmp_path, anna) -> str:
    now_ns = time.time_ns()
    with open_store(DataFolder.open(tmp_path).database) as store:
        uid = store.begin_session(now_ns - DAY_ns, RIG, person_uid=anna)
        for number in (1, 2, 3):
            hold = hold_at(now_ns - DAY_ns + number * 10**11, 40.0, alpha=0.2, target_s=60.0)
            result = dataclasses.replace(hold.result, onset_s=100.0 * number, release_s=100.0 * number + 40)
            store.save_hold(
                dataclasses.replace(hold, uid=f"{uid}-{number:03d}", session_uid=uid, number=number, result=result)
            )
    return uid


def kind_of(data: Path, uid: str) -> str | None:
    with open_store(DataFolder.open(data).database) as store:
        return store.get_hold(uid).result.kind


def test_a_deliberate_swing_gives_a_person_their_own_kappa(tmp_path, anna, session):
    """8.0 degrees by the cells, 7.8 measured: kappa is about 0.85 (8.0 / 7.8)^2 = 0.894."""
    with open_store(DataFolder.open(tmp_path).database) as store:
        stored = store.get_hold(f"{session}-001")
        swing = Swing(8.0, 4.0, 0.45, [(109.0, 8.0, 0.15)], 0.85, 0.85 * 0.03)
        store.save_hold(dataclasses.replace(stored, result=dataclasses.replace(stored.result, swing=swing)))
    shown = run(tmp_path, "hold", "swing-calibration", f"{session}-001", "--after-s", 9, "--degrees", 7.8).stdout
    assert "kappa 0.89" in shown
    reach = ("--reach", 0.6, "--length", 2.2)  # asin(0.3 / 2.2) = 7.84 degrees
    assert (
        "measured were 7.84"
        in run(tmp_path, "hold", "swing-calibration", f"{session}-001", "--after-s", 9, *reach).stdout
    )
    with open_store(DataFolder.open(tmp_path).database) as store:
        assert len(store.swings.of_person(anna)) == 2
        assert 0.85 < store.swings.pendulum(anna).kappa < 0.90
    for wrong in (("--after-s", 9), ("--after-s", 30, "--degrees", 7.8)):
        run(tmp_path, "hold", "swing-calibration", f"{session}-001", *wrong, status=2)
    run(tmp_path, "hold", "swing-calibration", "none", "--after-s", 9, "--degrees", 7.8, status=2)


def test_people(tmp_path, anna):
    assert run(tmp_path, "person", "list").stdout == f"{anna}  Anna K.\n"
    assert json.loads(run(tmp_path, "person", "list", "--json").stdout)[0]["stature_m"] == 1.7
    shown = run(tmp_path, "person", "show", "anna k.").stdout
    assert "1.70 m" in shown
    assert "Europe/Vienna" in shown
    assert json.loads(run(tmp_path, "person", "show", anna, "--json").stdout)["uid"] == anna


def test_an_intake_from_a_file_and_what_follows(tmp_path, anna):
    answers = tmp_path / "answers.json"
    answers.write_text('{"pain_now": 2, "pain_places": ["wrist"], "pregnancy": true}')
    shown = run(tmp_path, "person", "intake", anna, "--answers", answers).stdout
    assert "Ask a licensed clinician before hanging: pregnancy." in shown
    assert "Pain 2 of 10 now (wrist)" in shown
    assert "licensed clinician" in run(tmp_path, "prescribe", anna).stdout
    assert json.loads(run(tmp_path, "person", "show", anna, "--json").stdout)["intake"]["ask_clinician"] == [
        "pregnancy"
    ]


def test_pain_and_hangs_by_hand(tmp_path, anna):
    shown = run(tmp_path, "person", "pain", anna, 5, "--place", "lower_back", "--item", "passive").stdout
    assert "the item passive is paused: pain 5 of 10 in the lower back" in shown
    assert "Look at the pelvis from the side" in shown
    assert "the item passive" in run(tmp_path, "person", "pain", anna, 1, "--place", "wrist").stdout, "still"
    better = run(tmp_path, "person", "pain", anna, 2, "--place", "lower_back", "--item", "passive").stdout
    assert "is paused" not in better
    assert "6.0 min left today" in run(tmp_path, "person", "hang", anna, 60).stdout
    assert "1.0 min entered by hand" in run(tmp_path, "progress", anna).stdout


def test_a_programme_is_shown_edited_and_set(tmp_path, anna):
    assert "long_hangs" in run_bare("programme", "templates").stdout
    assert run_bare("programme", "templates", "first_hangs").stdout.strip() == template_text("first_hangs").strip()
    file = tmp_path / "mine.toml"
    file.write_text(run(tmp_path, "programme", "show", anna).stdout.replace("minutes = 7", "minutes = 9"))
    assert "Long hangs" in run(tmp_path, "programme", "set", anna, file).stdout
    assert "minutes = 9" in run(tmp_path, "programme", "show", anna).stdout
    run(tmp_path, "programme", "set", anna, "--template", "first_hangs")
    assert 'name = "First hangs"' in run(tmp_path, "programme", "show", anna).stdout


def run_bare(*arguments: str) -> Result:
    done = CliRunner().invoke(app, list(arguments), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done


def test_prescription_and_progress(tmp_path, anna, session):
    shown = run(tmp_path, "prescribe", anna).stdout
    assert "Assisted hang, 50 s with up to" in shown
    assert json.loads(run(tmp_path, "prescribe", anna, "--json").stdout)["holds"] == 3
    shown = run(tmp_path, "progress", anna).stdout
    assert "3 holds on 1 days, 2.0 min on the rig" in shown
    data = json.loads(run(tmp_path, "progress", anna, "--json", "--from", "2020-01-01").stdout)
    assert (data["holds"], len(data["points"]), data["trend"]) == (3, 3, None)
    assert "against the earlier period" in run(tmp_path, "progress", anna, "--against", "2020-01-01..2020-02-01").stdout


def test_a_hold_is_corrected_and_everything_undone(tmp_path, session):
    uid = f"{session}-001"
    run(tmp_path, "hold", "retag", uid, "active", "--reason", "seen", "--by", "M.")
    assert kind_of(tmp_path, uid) == "active"
    shown = run(tmp_path, "hold", "split", uid, 10, "--reason", "stood").stdout
    assert f"{uid}-part-1  10.00 s" in shown
    assert f"{uid}-part-2  30.00 s" in shown
    assert "is undone" in run(tmp_path, "hold", "undo", uid).stdout
    assert "is undone" in run(tmp_path, "hold", "undo", uid).stdout
    assert kind_of(tmp_path, uid) == "passive"
    assert f"{uid}-join-002  140.00 s" in run(tmp_path, "hold", "join", uid, f"{session}-002", "--reason", "one").stdout
    run(tmp_path, "hold", "undo", uid)
    run(tmp_path, "hold", "discard", uid, "--reason", "noise")
    run(tmp_path, "hold", "restore", uid, "--reason", "no noise")
    run(tmp_path, "hold", "ending", uid, "target")
    history = run(tmp_path, "hold", "history", uid).stdout
    assert [line.split()[1] for line in history.splitlines()] == ["retag", "split", "join", "discard", "restore"]
    assert "by M.: seen (undone by coach)" in history
    with open_store(DataFolder.open(tmp_path).database) as store:
        assert [h.uid for h in store.list_holds(newest_first=False)] == [f"{session}-00{n}" for n in (1, 2, 3)]
        assert store.get_hold(uid).ending == "target"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["person", "show", "nobody"], "There is no person"),
        (["person", "add", " "], "A name has"),
        (["person", "add", "B", "--stature", "170"], "stature"),
        (["person", "intake", "PERSON"], "Nobody is at the terminal"),
        (["person", "intake", "PERSON", "--answers", "/nonexistent"], "cannot be read"),
        (["person", "hang", "PERSON", "0"], "A hang of 0 s"),
        (["person", "hang", "PERSON", "30", "--at", "noon"], "is not a time"),
        (["person", "pain", "PERSON", "3", "--place", "toe"], "no place"),
        (["programme", "set", "PERSON"], "Either a file or a template"),
        (["programme", "set", "PERSON", "--template", "none"], "no template"),
        (["programme", "set", "PERSON", __file__], "no TOML"),
        (["prescribe", "nobody"], "There is no person"),
        (["progress", "PERSON", "--from", "monday"], "is not a date"),
        (["progress", "PERSON", "--against", "2026-05-02..2026-05-01"], "is not a period"),
        (["hold", "discard", "nobody", "--reason", "x"], "There is no hold"),
        (["hold", "split", "nobody", "5", "--reason", "x"], "There is no hold"),
        (["hold", "undo", "nobody"], "No correction"),
        (["hold", "ending", "nobody", "target"], "There is no hold"),
        (["hold", "ending", "nobody", "bored"], "no reason"),
    ],
    ids=lambda x: " ".join(x[:2]) if isinstance(x, list) else "",
)
def test_what_cannot_be_done_ends_with_a_message_and_status_2(tmp_path, anna, arguments, message):
    done = run(tmp_path, *(anna if a == "PERSON" else a for a in arguments), status=2)
    assert message in done.stderr
    assert "What to do:" in done.stderr
    assert "Traceback" not in done.output


def test_a_correction_that_does_not_fit_is_refused(tmp_path, session):
    done = run(tmp_path, "hold", "split", f"{session}-001", "500", "--reason", "x", status=2)
    assert "The split must lie between" in done.stderr
    done = run(tmp_path, "hold", "retag", f"{session}-001", "sideways", "--reason", "x", status=2)
    assert "The kind must be one of" in done.stderr
