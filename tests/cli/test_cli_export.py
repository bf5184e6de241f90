"""``hang-monitor export`` on an empty and on a filled store."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from pathlib import Path

import pytest
from journals_by_hand import write_journal
from load_stories import RIG, TWO_SESSIONS, loads
from typer.testing import CliRunner, Result

from monitor.analysis import analyse_file
from monitor.cli import app
from monitor.newtons.calibration import calibration_to_dict
from monitor.newtons.curve_file import read_curve
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, hold_uid, open_store

START_ns = 1_760_000_000_000_000_000


def export(data: Path, *arguments: object) -> Result:
    return CliRunner().invoke(
        app, ["export", "--data", str(data), *(str(a) for a in arguments)], catch_exceptions=False
    )


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a data folder with one session of two holds and its journal."""
    root = tmp_path_factory.mktemp("data")
    folder = DataFolder.open(root)
    with open_store(folder.database) as store:
        place = folder.new_journal("session", START_ns)
        calibration = write_journal(place, RIG, loads(TWO_SESSIONS)[1])
        result = analyse_file(place).result
        store.begin_session(START_ns, rig_to_dict(RIG), calibration_to_dict(calibration), uid="session")
        for number, hold in enumerate(result.holds, start=1):
            store.save_hold(
                StoredHold(
                    uid=hold_uid("session", number),
                    session_uid="session",
                    number=number,
                    onset_utc_ns=START_ns + round(hold.onset_s * 1e9),
                    bodyweight_N=result.bodyweight_N,
                    bodyweight_u_N=result.bodyweight_u_N,
                    result=hold,
                    measurement_version=MEASUREMENT_VERSION,
                    utc_offset_s=0,
                )
            )
    return root


def test_an_empty_store_gives_a_header_and_an_empty_list(tmp_path):
    listed = export(tmp_path / "new")
    assert listed.exit_code == 0
    (header,) = listed.stdout.splitlines()
    assert "duration_s" in header.split(",")
    as_json = export(tmp_path / "new", "--json")
    assert as_json.exit_code == 0
    assert json.loads(as_json.stdout)["holds"] == []


def test_the_list_of_holds(filled):
    listed = export(filled)
    assert listed.exit_code == 0
    first, second = csv.DictReader(io.StringIO(listed.stdout, newline=""), strict=True)
    assert (first["uid"], second["uid"]) == ("session-001", "session-002")
    assert float(first["duration_s"]) == pytest.approx(11.95, abs=0.03)
    data = json.loads(export(filled, "--json").stdout)
    assert [hold["uid"] for hold in data["holds"]] == ["session-001", "session-002"]


def test_the_list_goes_to_a_file(filled, tmp_path):
    out = tmp_path / "holds.csv"
    done = export(filled, "--out", out)
    assert done.exit_code == 0
    assert len(list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"), newline="")))) == 2


def test_a_holds_curve_is_read_back_by_an_analysis(filled, tmp_path):
    out = tmp_path / "curve.csv"
    assert export(filled, "--hold", "session-001", "--out", out).exit_code == 0
    curve = read_curve(out)
    assert curve.rig.names == RIG.names
    again = analyse_file(out).result.holds[0]
    with open_store(DataFolder.open(filled).database) as store:
        stored = store.get_hold("session-001").result
    # The export holds stamps of readings, so the analysis finds the same instants.
    assert again.onset_s == pytest.approx(stored.onset_s, abs=0.001)
    assert again.duration_s == pytest.approx(stored.duration_s, abs=0.001)


def test_a_holds_curve_as_json_has_its_result_with_it(filled):
    data = json.loads(export(filled, "--hold", "session-002", "--json").stdout)
    assert data["uid"] == "session-002"
    assert data["names"] == [f"{n}_N" for n in RIG.names]
    assert len(data["t_s"]) == len(data["load_N"]) > 400
    with open_store(DataFolder.open(filled).database) as store:
        stored = store.get_hold("session-002").result
    assert data["result"]["duration_s"] == stored.duration_s
    assert set(data["result"]) == {f.name for f in dataclasses.fields(stored)}


def test_an_unknown_hold_is_refused_and_known_ones_are_named(filled):
    done = export(filled, "--hold", "session-009")
    assert done.exit_code == 2
    assert "There is no hold session-009" in done.stderr
    assert "session-002" in done.stderr
    assert "none" in export(filled.parent / "empty", "--hold", "x").stderr


def test_files_that_cannot_be_written_are_reported(filled, tmp_path):
    (tmp_path / "file").write_text("in the way")
    for done in (export(filled, "--out", tmp_path / "nowhere" / "x.csv"), export(tmp_path / "file")):
        assert done.exit_code == 2
        assert "What to do:" in done.stderr
