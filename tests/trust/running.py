"""The program itself in a process of its own, and what the system knows of its sockets."""

from __future__ import annotations

import datetime as dt
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from blank import blank_database

from monitor.demo import DemoRig
from monitor.newtons.calibration import save_calibration
from monitor.rig import rig_to_dict, write_toml
from monitor.store import DataFolder

DEADLINE_S = 60.0


def waiting_rig(folder: Path, *, ready: bool = True) -> list[str]:
    """Describe the demo's rig in a data folder; return arguments that start the program without its board.

    ``ready``: with an empty database, whose making would be half of what the start takes after its imports.
    """
    invented = DemoRig(1)
    data = DataFolder.open(folder)
    if ready and not data.database.exists():
        blank_database(data.database)
    write_toml(data.rig_file, rig_to_dict(invented.rig))
    save_calibration(data.calibrations, invented.calibration, dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
    return ["run", "--wait", "--port", "/dev/nothing-here", "--data", str(folder), "--page-port", "0"]


@dataclass
class Program:
    process: subprocess.Popen[str]
    url: str
    said: list[str]

    @property
    def port(self) -> int:
        return urlsplit(self.url).port or 0


@contextmanager
def running(*arguments: str, environment: dict[str, str] | None = None) -> Iterator[Program]:
    """Start ``hang-monitor`` with these arguments, wait for its page, end it politely."""
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, **(environment or {})},
    )
    assert process.stdout is not None
    said: list[str] = []
    try:
        for line in process.stdout:
            said.append(line)
            if line.startswith("Live page:"):
                break
        else:
            raise AssertionError("".join(said))
        yield Program(process, said[-1].split()[2], said)
    finally:
        process.send_signal(signal.SIGINT)
        try:
            rest, _ = process.communicate(timeout=DEADLINE_S)
            said.append(rest)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            raise


def sockets_of(pid: int) -> list[tuple[str, str, str]]:
    """Return the internet sockets of a process as (local address, remote address, state), as proc(5) shows them.

    Addresses are in the kernel's hexadecimal form, the port behind a colon; state 0A is LISTEN.
    """
    inodes = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        try:
            target = os.readlink(entry)
        except OSError:
            continue
        if target.startswith("socket:["):
            inodes.add(target[8:-1])
    result = []
    for table in ("tcp", "tcp6", "udp", "udp6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            cells = line.split()
            if cells[9] in inodes:
                result.append((cells[1], cells[2], cells[3]))
    return result
