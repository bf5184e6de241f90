"""``hang-monitor person export, import, erase`` and ``report``: what they write, and what they say when they cannot."""

from __future__ import annotations

import json

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from monitor.cli.app import app
from monitor.coaching.coaching_service import CoachingService
from monitor.store import DataFolder, open_store

RUN = CliRunner()


@pytest.fixture
def data(tmp_path):
    folder = DataFolder.open(tmp_path / "data")
    with open_store(folder.database) as store:
        CoachingService(store).add_person("Ada B.", notes="left-handed")
    return folder.root


def run(*words) -> tuple[int, str, str]:
    done = RUN.invoke(app, [str(word) for word in words])
    return done.exit_code, done.stdout, done.stderr


def test_a_person_goes_from_one_machine_to_another_and_is_erased_here(data, tmp_path):
    file, other = tmp_path / "ada.zip", tmp_path / "other"
    assert run("person", "export", "ada b.", "--out", file, "--data", data)[0] == 0
    status, shown, _ = run("person", "import", file, "--data", other)
    assert status == 0
    assert "Ada B. is here now" in shown
    receipt = tmp_path / "receipt.json"
    assert run("person", "erase", "Ada B.", "--yes", "--receipt", receipt, "--data", data)[0] == 0
    made = json.loads(receipt.read_text())
    assert made["what"] == "receipt of an erasure"
    assert made["rows_erased"] == {"person": 1}
    assert "Nobody yet" in run("person", "list", "--data", data)[1]
    assert "Ada B." in run("person", "list", "--data", other)[1]
    status, _, shown = run("person", "import", file, "--data", data)
    assert status == 2
    assert "--although-erased" in shown
    assert run("person", "import", file, "--although-erased", "--data", data)[0] == 0
    with open_store(DataFolder.open(data).database) as store:
        assert [entry.what for entry in reversed(store.audit.recent())] == [
            "export of a person",
            "erasure of a person",
            "import of a person",
        ]


def test_erasing_needs_a_yes(data):
    status, _, shown = run("person", "erase", "Ada B.", "--data", data)
    assert status == 2
    assert "--yes" in shown
    assert "Ada B." in run("person", "list", "--data", data)[1]


def test_a_receipt_that_cannot_be_written_is_shown(data, tmp_path):
    status, shown, error = run("person", "erase", "Ada B.", "--yes", "--receipt", tmp_path, "--data", data)
    assert status == 2
    assert json.loads(shown)["rows_erased"] == {"person": 1}
    assert "The person is erased" in error


def test_a_report_is_written_to_the_given_file(data, tmp_path):
    out = tmp_path / "ada.pdf"
    assert run("report", "Ada B.", "--from", "2026-01-01", "--to", "2026-01-31", "--out", out, "--data", data)[0] == 0
    assert "1 January 2026 to 31 January 2026" in PdfReader(out).pages[0].extract_text()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("Ada B.", "--from", "yesterday"), "no date"),
        (("Ada B.", "--from", "2026-02-01", "--to", "2026-01-01"), "ends before"),
        (("Nobody",), "no person"),
        (("Ada B.", "--out", "nowhere/at/all.pdf"), "cannot be written"),
    ],
)
def test_a_report_that_cannot_be_made_is_reported(data, words, message):
    status, _, error = run("report", *words, "--data", data)
    assert status == 2
    assert message in error


def test_the_command_erases_nobody_beside_a_running_monitor(data):
    """Its page does: the running monitor may have a journal of theirs open."""
    with DataFolder.open(data).held():
        status, _, shown = run("person", "erase", "Ada B.", "--yes", "--data", data)
    assert status == 2
    assert "Another program works on" in shown
    assert "Ada B." in run("person", "list", "--data", data)[1]
