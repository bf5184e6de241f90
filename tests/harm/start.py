"""How long the program takes from its command to its page after it was killed in mid-hold."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from monitor.store import DataFolder
from monitor.store.maintenance.rebuild import all_journals

DEADLINE_S = 60.0


def seconds_to_first_page(data: Path) -> float:
    """Kill a demo once somebody hangs, start it again, and return the seconds until its page answers."""
    _until_page(data, kill_when_bytes=60_000)
    begun_s = time.monotonic()
    _until_page(data, kill_when_bytes=0)
    return time.monotonic() - begun_s


def _until_page(data: Path, kill_when_bytes: int) -> None:
    command = [sys.executable, "-m", "monitor.cli", "demo", "--data", str(data), "--page-port", "0", "--speed", "8"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=dict(os.environ))
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if line.startswith("Live page:"):
                break
        else:
            raise AssertionError("the program did not start")
        deadline_s = time.monotonic() + DEADLINE_S
        while kill_when_bytes and sum(p.stat().st_size for p in all_journals(DataFolder(data))) < kill_when_bytes:
            if time.monotonic() > deadline_s:
                raise AssertionError("nobody came")
            time.sleep(0.05)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
