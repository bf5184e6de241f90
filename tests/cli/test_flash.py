"""``hang-monitor flash``: what it asks of the program that talks to the board, what it says when nothing answers."""

from __future__ import annotations

import json
import os
import stat
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor.cli.app import app
from monitor.cli.commands import flash as flash_module

FIRMWARE = Path(__file__).parents[2] / "firmware_bridge" / "board"
MODULES = sorted(path.name for path in FIRMWARE.glob("*.py") if path.name != "board_settings.py")

STAND_IN = """#!{python}
import json, pathlib, sys
log = pathlib.Path({log!r})
calls = json.loads(log.read_text()) if log.exists() else []
calls.append(sys.argv[1:])
log.write_text(json.dumps(calls))
if len(calls) <= {deaf_for}:
    sys.exit("mpremote: could not enter raw repl")
if "cp" in sys.argv and {torn!r}:
    sys.exit("mpremote: device disconnected")
if "exec" in sys.argv:
    print("MPY: something a board may print first")
    print("files", {listing!r})
"""


class StandIn:
    """An executable in the place of mpremote that records its arguments."""

    def __init__(self, folder: Path, *, listing: str = "", deaf_for: int = 0, torn: bool = False) -> None:
        self._log = folder / "calls.json"
        self.path = folder / "mpremote"
        self.path.write_text(
            STAND_IN.format(python=sys.executable, log=str(self._log), listing=listing, deaf_for=deaf_for, torn=torn)
        )
        self.path.chmod(self.path.stat().st_mode | stat.S_IXUSR)

    @property
    def calls(self) -> list[list[str]]:
        return json.loads(self._log.read_text()) if self._log.exists() else []


@pytest.fixture
def pauses(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """No real waiting between two attempts; what would have been waited."""
    waited: list[float] = []
    monkeypatch.setattr(flash_module, "_pause", waited.append)
    return waited


def flash(monkeypatch: pytest.MonkeyPatch, tool: StandIn | None, *arguments: str):
    if tool is not None:
        monkeypatch.setattr(flash_module, "find_tool", lambda: tool.path)
    return CliRunner().invoke(app, ["flash", *arguments])


def test_a_new_board_gets_every_file_and_the_example_settings(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path, listing="boot.py")
    done = flash(monkeypatch, tool, "--port", "/dev/board")
    assert done.exit_code == 0, done.output
    listing, settings, modules, reset = tool.calls
    assert listing[:3] == ["connect", "/dev/board", "exec"]
    assert settings == ["connect", "/dev/board", "fs", "cp", str(FIRMWARE / "board_settings.py"), ":board_settings.py"]
    assert modules[:4] == ["connect", "/dev/board", "fs", "cp"]
    assert modules[-1] == ":"
    assert sorted(Path(one).name for one in modules[4:-1]) == MODULES
    assert all(Path(one).read_bytes() for one in modules[4:-1])
    assert reset == ["connect", "/dev/board", "reset"]
    assert "check its pins" in done.output
    assert pauses == []


def test_a_board_keeps_the_settings_that_it_has(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path, listing="boot.py board_settings.py main.py")
    done = flash(monkeypatch, tool, "--port", "/dev/board")
    assert done.exit_code == 0, done.output
    assert not any("board_settings.py" in argument for call in tool.calls for argument in call)
    assert "kept its own board_settings.py" in done.output


def test_the_makers_own_settings_are_copied_under_the_name_that_counts(tmp_path, monkeypatch, pauses):
    own = tmp_path / "hall 2.py"
    own.write_text((FIRMWARE / "board_settings.py").read_text().replace("CHANNELS = 6", "CHANNELS = 2"))
    tool = StandIn(tmp_path, listing="board_settings.py")
    done = flash(monkeypatch, tool, "--port", "/dev/board", "--settings", str(own))
    assert done.exit_code == 0, done.output
    assert tool.calls[1] == ["connect", "/dev/board", "fs", "cp", str(own), ":board_settings.py"]


@pytest.mark.parametrize("text", [None, "CHANNELS = (", "\0"], ids=["missing", "broken", "binary"])
def test_settings_that_the_board_could_not_read_are_refused(text, tmp_path, monkeypatch, pauses):
    own = tmp_path / "own.py"
    if text is not None:
        own.write_text(text)
    tool = StandIn(tmp_path)
    done = flash(monkeypatch, tool, "--port", "/dev/board", "--settings", str(own))
    assert done.exit_code == 2
    assert "cannot be used" in done.output
    assert tool.calls == []


def test_a_running_board_restarts_at_the_first_attempt_and_answers_at_the_second(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path, deaf_for=1)
    done = flash(monkeypatch, tool, "--port", "/dev/board")
    assert done.exit_code == 0, done.output
    assert [call[2] for call in tool.calls] == ["exec", "exec", "fs", "fs", "reset"]
    assert pauses == [flash_module.PAUSE_S]


def test_a_board_that_never_answers_is_reported_with_what_to_do(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path, deaf_for=99)
    done = flash(monkeypatch, tool, "--port", "/dev/board")
    assert done.exit_code == 2
    assert "could not enter raw repl" in done.output
    assert "BOOTSEL" in done.output
    assert len(tool.calls) == flash_module.ATTEMPTS


def test_an_interrupted_copy_is_reported(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path, torn=True)
    done = flash(monkeypatch, tool, "--port", "/dev/board")
    assert done.exit_code == 2
    assert "device disconnected" in done.output
    assert "run the same command again" in done.output
    assert ["connect", "/dev/board", "reset"] not in tool.calls


def test_a_dry_run_names_every_file_and_touches_nothing(tmp_path, monkeypatch, pauses):
    tool = StandIn(tmp_path)
    done = flash(monkeypatch, tool, "--dry-run", "--port", "/dev/board")
    assert done.exit_code == 0
    assert tool.calls == []
    assert [line.split()[0] for line in done.output.splitlines()[1:]] == [*MODULES, "board_settings.py"]


def test_no_board_and_the_real_tool(tmp_path, monkeypatch, pauses):
    if not Path(sys.executable).with_name("mpremote").exists():
        pytest.skip("mpremote is not installed beside this Python")
    done = flash(monkeypatch, None, "--port", str(tmp_path / "no such port"))
    assert done.exit_code == 2
    assert "No MicroPython board answers at" in done.output
    assert "BOOTSEL" in done.output
    assert "Traceback" not in done.output


def test_a_missing_tool_is_reported_with_how_to_install_it(monkeypatch, pauses):
    monkeypatch.setattr(flash_module.sys, "executable", os.fspath(Path("/nowhere/python")))
    monkeypatch.setenv("PATH", "/nowhere")
    done = flash(monkeypatch, None, "--port", "/dev/board")
    assert done.exit_code == 2
    assert "/nowhere/python -m pip install mpremote" in done.output


@pytest.mark.parametrize("ports", [[], ["/dev/a", "/dev/b"]], ids=["none", "two"])
def test_without_a_port_there_has_to_be_exactly_one(ports, tmp_path, monkeypatch, pauses):
    from firmware_bridge.link import PortDescription

    monkeypatch.setattr("firmware_bridge.link.list_ports", lambda: [PortDescription(path, "") for path in ports])
    tool = StandIn(tmp_path)
    done = flash(monkeypatch, tool)
    assert done.exit_code == 2
    assert "--port" in done.output
    assert all(path in done.output for path in ports)
    assert tool.calls == []
