"""Stored holds measured again: this version's numbers, the earlier ones stored, names and corrections unchanged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from table_rig import table_rig
from typer.testing import CliRunner

from firmware_bridge.virtual_board import VirtualBoard
from monitor.cli import app
from monitor.demo import curve_conversions
from monitor.newtons.curve_file import read_curve
from monitor.reanalysis import reanalyse
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.store import DataFolder, open_store

CURVE = Path(__file__).parents[1] / "recordings" / "curves" / "s1_seed11.csv.gz"
SPEED = 30.0


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    """Return a data folder with one recorded session whose hold an earlier version had measured one second too long."""
    curve = read_curve(CURVE)
    played = curve_conversions(curve.t_s, curve.load_N, curve.rig.names)
    board = VirtualBoard(played.conversions, channels=6, rate_Hz=played.rate_Hz, speed=SPEED)
    with table_rig(tmp_path / "data", board, curve.rig, played.calibration, speed=SPEED) as table:
        table.play_to_the_end()
        (hold,) = table.store.list_holds(None)
        old = replace(hold.result, release_s=hold.result.release_s + 1.0, duration_s=hold.result.duration_s + 1.0)
        table.store.save_hold(replace(hold, result=old, measurement_version=1))
        return table.folder


def test_a_hold_is_measured_again_and_its_earlier_result_stays(folder: DataFolder) -> None:
    with open_store(folder.database) as store:
        (before,) = store.list_holds(None)
        (report,) = reanalyse(store, folder, jobs=1)
        (after,) = store.list_holds(None)
        assert (report.measured, report.new, report.gone, report.trouble) == (1, 0, 0, "")
        (moved,) = report.differences
        assert moved.versions == (1, MEASUREMENT_VERSION)
        assert moved.duration_s[0] - moved.duration_s[1] == pytest.approx(1.0, abs=0.01)
        assert (after.uid, after.onset_utc_ns, after.measurement_version) == (
            before.uid,
            before.onset_utc_ns,
            MEASUREMENT_VERSION,
        )
        assert after.result.duration_s == pytest.approx(before.result.duration_s - 1.0, abs=0.01)
        earlier = store.earlier.of_hold(after.uid)
        assert [e.measurement_version for e in earlier] == [MEASUREMENT_VERSION, 1]
        assert earlier[-1].result == before.result
        assert list(reanalyse(store, folder, jobs=1)) == []


def test_a_coachs_correction_stays_in_force(folder: DataFolder) -> None:
    with open_store(folder.database) as store:
        (before,) = store.list_holds(None)
        store.corrections.make(before.uid, "retag", {"kind": "active"}, reason="seen from the side")
        list(reanalyse(store, folder, jobs=1))
        (after,) = store.list_holds(None)
        assert after.measurement_version == MEASUREMENT_VERSION
    assert after.result.kind == "active"


def test_the_command_lists_differences_and_missing_journals(folder: DataFolder) -> None:
    run = CliRunner().invoke(app, ["reanalyse", "--data", str(folder.root), "--jobs", "1"])
    assert run.exit_code == 0
    assert "version 1 to" in run.stdout
    assert f"1 holds of 1 sessions carry version {MEASUREMENT_VERSION} now." in run.stdout
    for journal in folder.journals.rglob("*.journal"):
        journal.unlink()
    run = CliRunner().invoke(app, ["reanalyse", "--data", str(folder.root), "--all", "--jobs", "1"])
    assert "is gone" in run.stdout
    with open_store(folder.database) as store:
        assert store.count_holds() == 1
