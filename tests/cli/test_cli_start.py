"""What a bare start costs, the list of ports, and flags in words."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from monitor.cli import app

LISTED = "\nLOADED: "
PROGRAM = f"""
import sys
sys.argv[0] = "hang-monitor"
from monitor.cli import main
try:
    main()
finally:
    sys.stderr.write({LISTED!r} + " ".join(sorted({{name.partition(".")[0] for name in sys.modules}})))
"""


@pytest.mark.parametrize("arguments", [["--help"], ["ports", "--json"]], ids=["help", "ports"])
def test_neither_help_nor_ports_load_a_heavy_library(arguments):
    """Each of them costs seconds on a small board."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    loaded = set(done.stderr.partition(LISTED)[2].split())
    assert {"typer", "monitor"} <= loaded, "the list of modules is broken, so it shows nothing"
    assert not {"scipy", "matplotlib", "sqlalchemy", "alembic", "fastapi", "uvicorn"} & loaded
    if arguments == ["--help"]:
        (version,) = (line for line in done.stdout.splitlines() if "--version" in line)
        assert "<bool>" not in version, "an option without a value must not seem to ask for one"


def test_help_names_every_command():
    shown = CliRunner().invoke(app, ["--help"])
    assert shown.exit_code == 0
    for command in ("analyse", "demo", "export", "ports", "run"):
        assert command in shown.stdout
        assert CliRunner().invoke(app, [command, "--help"]).exit_code == 0


def test_a_paragraph_of_help_fills_its_lines():
    shown = CliRunner().invoke(app, ["doctor", "--help"])
    first = next(line for line in shown.stdout.splitlines() if "With --mend:" in line)
    paragraph = shown.stdout[shown.stdout.index(first) :].partition("─")[0].rstrip(" \n╭").splitlines()
    assert len(paragraph) > 2
    assert all(len(line.rstrip()) > 60 for line in paragraph[:-1]), paragraph


def test_the_ports_are_a_json_list_with_what_a_person_knows_them_by():
    shown = CliRunner().invoke(app, ["ports", "--json"], catch_exceptions=False)
    assert shown.exit_code == 0
    listed = json.loads(shown.stdout)
    assert isinstance(listed, list)
    for port in listed:
        assert set(port) == {"path", "description", "serial_number", "vendor_product"}


@pytest.mark.parametrize("count", [0, 2])
def test_the_ports_as_a_table_or_a_hint(monkeypatch, count):
    from firmware_bridge.ports import PortDescription

    ports = [PortDescription(f"/dev/ttyACM{n}", "a board", f"S{n}", "2e8a:0005") for n in range(count)]
    monkeypatch.setattr("firmware_bridge.link.list_ports", lambda: ports)
    shown = CliRunner().invoke(app, ["ports"], catch_exceptions=False)
    assert shown.exit_code == 0
    if count:
        assert all(port.path in shown.stdout for port in ports)
    else:
        assert "Plug the converter board in" in shown.stdout


def test_run_needs_to_know_where_readings_come_from(tmp_path):
    # Without any of them it starts all the same, and the page lets choose (tests/station/test_rig_choice.py).
    for arguments in (["--rig", "x.toml"], ["--port", "/dev/x", "--replay", "x.journal"]):
        done = CliRunner().invoke(app, ["run", "--data", str(tmp_path), *arguments], catch_exceptions=False)
        assert done.exit_code == 2
        assert "nothing was started" in done.stderr


def test_run_reports_a_missing_port_rig_or_journal(tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text('name = "x"\n[[channels]]\nname = "bar"\npart = "bar"\n')
    calibration = tmp_path / "c.toml"
    calibration.write_text('[[channels]]\nchannel = "bar"\nzero_counts = 0\nN_per_count = 0.001\n')
    both = ["--rig", str(rig), "--calibration", str(calibration)]
    for arguments, message in (
        (["--port", "/dev/none"], "rig.toml cannot be read"),
        (["--port", "/dev/none", "--rig", str(rig)], "/dev/none"),  # a rig without a calibration gets it on the page
        (["--port", "/dev/none", *both], "/dev/none"),
        (["--replay", str(tmp_path / "none.journal")], "none.journal"),
    ):
        result = CliRunner().invoke(app, ["run", "--data", str(tmp_path / "d"), *arguments], catch_exceptions=False)
        assert result.exit_code == 2, arguments
        assert message in result.stderr
        assert "What to do:" in result.stderr
