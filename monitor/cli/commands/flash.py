"""``hang-monitor flash``: put the firmware on a converter board that runs MicroPython."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from importlib.resources import as_file, files
from pathlib import Path

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import MonitorError

SETTINGS = "board_settings.py"
TOOL = "mpremote"
ATTEMPTS = 3
PAUSE_S = 3.0
LIMIT_S = 120.0
_pause = time.sleep
LISTING = "import os; print('files', ' '.join(os.listdir()))"


class FlashToolMissing(MonitorError):
    """The program that talks to MicroPython boards is not installed."""

    code = "flash-tool-missing"


class FlashPortUnclear(MonitorError):
    """No port was given, and there is none or more than one."""

    code = "flash-port-unclear"


class BoardNotAnswering(MonitorError):
    """Nothing that speaks like a MicroPython board answers at the port."""

    code = "board-not-answering"


class FlashInterrupted(MonitorError):
    """The board answered, but the files did not arrive completely."""

    code = "flash-interrupted"


class FlashSettingsUnreadable(MonitorError):
    """The settings file that was given for the board cannot be used."""

    code = "flash-settings-unreadable"


def find_tool() -> Path:
    """Return the program that talks to the board; raises ``FlashToolMissing``."""
    beside = Path(sys.executable).with_name(TOOL)
    tool = str(beside) if beside.exists() else shutil.which(TOOL)
    if tool is None:
        raise FlashToolMissing(
            what=f"The program {TOOL}, which talks to MicroPython boards, is not installed.",
            means="Nothing was copied; the board is unchanged.",
            do=f"Install it with '{sys.executable} -m pip install {TOOL}', then run this again.",
        )
    return Path(tool)


def choose_port(port: str | None) -> str:
    """Return the given port, else the only one there is; raises ``FlashPortUnclear``."""
    if port is not None:
        return port
    from firmware_bridge.link import list_ports

    paths = [one.path for one in list_ports()]
    if len(paths) == 1:
        return paths[0]
    raise FlashPortUnclear(
        what="No serial port was found." if not paths else f"There is more than one serial port: {', '.join(paths)}.",
        means="It is not clear which board is meant; nothing was copied.",
        do="Plug the board in with a data cable (some cables only charge); 'hang-monitor ports' lists what is there. "
        "Then give the board's port with --port.",
    )


def check_settings(settings: Path | None) -> None:
    """Refuse a settings file that the board cannot read; raises ``FlashSettingsUnreadable``."""
    if settings is None:
        return
    try:
        compile(settings.read_text(encoding="utf-8"), str(settings), "exec")
    except (OSError, SyntaxError, ValueError) as error:
        raise FlashSettingsUnreadable(
            what=f"The settings {settings} cannot be used: {error}.",
            means="The board would not start with them; nothing was copied.",
            do=f"Correct the file; {SETTINGS} in the firmware is an example.",
        ) from error


def _run(command: list[str]) -> subprocess.CompletedProcess[str]:
    try:
        # The program is ours to name, and no shell reads its arguments.
        return subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_S, check=False)  # noqa: S603
    except subprocess.TimeoutExpired as error:
        return subprocess.CompletedProcess(command, 1, "", f"no answer within {error.timeout:.0f} s")


def files_on_board(tool: Path, port: str, pause: Callable[[float], object]) -> list[str]:
    """Return the names of the files on the board; raises ``BoardNotAnswering``.

    A board on which the firmware runs restarts into its prompt at the first attempt, so a further one is made after a
    pause.
    """
    done = subprocess.CompletedProcess[str]([], 1, "", "")
    for attempt in range(ATTEMPTS):
        if attempt:
            pause(PAUSE_S)
        done = _run([str(tool), "connect", port, "exec", LISTING])
        answers = [line for line in done.stdout.splitlines() if line.startswith("files")]
        if done.returncode == 0 and answers:
            return answers[-1].split()[1:]
    reason = (done.stderr.strip() or done.stdout.strip() or "it was silent").splitlines()[-1]
    raise BoardNotAnswering(
        what=f"No MicroPython board answers at {port} ({reason}).",
        means="Nothing was copied; what is on the board is unchanged.",
        do="End every program that uses the port (the monitor too) and press the board's reset button, then try again. "
        "A new board needs MicroPython first: hold its BOOTSEL button while plugging it in and copy the MicroPython "
        "file for your board onto the drive that appears. See docs/firmware.md.",
    )


def _run_tool(tool: Path, port: str, *arguments: str) -> None:
    done = _run([str(tool), "connect", port, *arguments])
    if done.returncode != 0:
        reason = (done.stderr.strip() or done.stdout.strip() or "no reason given").splitlines()[-1]
        raise FlashInterrupted(
            what=f"The firmware did not reach the board at {port} completely ({reason}).",
            means="The board may hold old and new files side by side and may not start.",
            do="Leave the cable alone and run the same command again; nothing on the board can be spoilt for good.",
        )


def copy_to_board(tool: Path, port: str, modules: list[Path], settings: Path | None) -> None:
    """Copy the modules and perhaps a settings file to the board and restart it; raises ``FlashInterrupted``."""
    # The settings get the name that the firmware imports, whatever the given file is called.
    if settings is not None:
        _run_tool(tool, port, "fs", "cp", str(settings), f":{SETTINGS}")
    _run_tool(tool, port, "fs", "cp", *map(str, modules), ":")
    _run_tool(tool, port, "reset")


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


@reports_errors
def flash(
    port: str | None = typer.Option(None, help="The board's serial port; may be left out when there is only one."),
    settings: Path | None = typer.Option(
        None, help=f"Your own {SETTINGS}. Without it the board keeps the settings that it has."
    ),
    dry_run: bool = typer.Option(False, "--dry-run", help="Say what would be copied, and touch nothing."),
) -> None:
    """Put the firmware on the converter board, then restart it."""
    check_settings(settings)
    with as_file(files("firmware_bridge") / "board") as folder:
        modules = sorted(path for path in folder.glob("*.py") if path.name != SETTINGS)
        packaged = folder / SETTINGS
        if dry_run:
            _say(f"To the board at {port or 'the only serial port'}, with {TOOL}, then a restart:")
            for path in modules:
                _say(f"  {path.name}  ({path.stat().st_size} bytes)")
            if settings is not None:
                _say(f"  {SETTINGS}  (from {settings})")
            else:
                _say(f"  {SETTINGS}  (the example, only if the board has none)")
            return
        tool = find_tool()
        chosen = choose_port(port)
        _say(f"Asking the board at {chosen} ...")
        there = files_on_board(tool, chosen, _pause)
        keeps = settings is None and SETTINGS in there
        _say(f"Copying {len(modules) + (not keeps)} files ...")
        copy_to_board(tool, chosen, modules, None if keeps else settings or packaged)
    if keeps:
        _say(f"Done; the board has restarted. It kept its own {SETTINGS}.")
    elif settings is None:
        _say(f"Done; the board has restarted with the example {SETTINGS}: check its pins against your wiring.")
    else:
        _say("Done; the board has restarted with your settings.")
