"""``hang-monitor export --form``: a stored hold as C3D and EDF+."""

from __future__ import annotations

from pathlib import Path

import pytest
from journals_by_hand import write_journal
from load_stories import RIG, TWO_SESSIONS, loads
from typer.testing import CliRunner, Result

from monitor.analysis import analyse_file
from monitor.cli import app
from monitor.newtons.calibration import calibration_to_dict
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, hold_uid, open_store

START_ns = 1_760_000_000 * 10**9
HOLD = hold_uid("session", 1)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = DataFolder.open(tmp_path_factory.mktemp("data"))
    with open_store(folder.database) as store:
        place = folder.new_journal("session", START_ns)
        calibration = write_journal(place, RIG, loads(TWO_SESSIONS)[1])
        hold = analyse_file(place).result.holds[0]
        store.begin_session(START_ns, rig_to_dict(RIG), calibration_to_dict(calibration), uid="session")
        store.save_hold(StoredHold(HOLD, "session", 1, START_ns, 700.0, 0.5, hold, MEASUREMENT_VERSION))
    return folder.root


def export(data: Path, *words: object) -> Result:
    return CliRunner().invoke(app, ["export", "--data", str(data), *map(str, words)], catch_exceptions=False)


def test_a_hold_is_written_as_c3d(filled, tmp_path):
    c3d = pytest.importorskip("c3d")
    out = tmp_path / "h.c3d"
    assert export(filled, "--hold", HOLD, "--form", "c3d", "--out", out).exit_code == 0
    with out.open("rb") as file:
        labels = [label.strip() for label in c3d.Reader(file).analog_labels]
    assert labels[: len(RIG.names)] == list(RIG.names)


def test_a_hold_is_written_as_edf(filled, tmp_path):
    pyedflib = pytest.importorskip("pyedflib")
    out = tmp_path / "h.edf"
    assert export(filled, "--hold", HOLD, "--form", "edf", "--out", out).exit_code == 0
    with pyedflib.EdfReader(str(out)) as back:
        assert back.getSignalLabels() == list(RIG.names)
        assert {"onset", "release"} <= set(back.readAnnotations()[2])


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--form", "c3d", "--out", "x.c3d"), "needs a hold"),
        (("--form", "c3d", "--hold", HOLD), "needs a place"),
        (("--format", "exe"), "these: csv, json, parquet, c3d, edf"),
        (("--form", "edf", "--hold", "none", "--out", "x.edf"), "no hold none"),
        (("--form", "c3d", "--hold", HOLD, "--out", "nowhere/x.c3d"), "cannot be written"),
    ],
)
def test_what_cannot_be_written_is_reported(filled, words, message):
    done = export(filled, *words)
    assert done.exit_code == 2
    assert message in done.stderr
