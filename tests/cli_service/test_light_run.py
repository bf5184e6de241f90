"""What a monitor loads to run: nothing that a small board would wait and pay for without need."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

from websockets.sync.client import connect

from monitor.newtons.curve_file import read_curve
from monitor.store import DataFolder, open_store

sys.path.append(str(Path(__file__).parents[1] / "pipeline"))

from journals_by_hand import write_journal

CURVE = Path(__file__).parents[1] / "recordings" / "curves" / "s2_seed11.csv.gz"
SPEED = "100"
PATIENCE_S = 60.0
HEAVY = {
    "scipy.signal": "49 MB more than scipy.ndimage and scipy.special, which are imported",
    "scipy.optimize": "23 MB more; the guided calibration needs it",
    "scipy.stats": "half a second and 44 MB more; tests need it",
    "matplotlib": "plots need it",
    "alembic": "migrations need it",
    "monitor.reports": "reports need it",
    "rich": "guided screens need it",
}


def loaded(trace: str) -> set[str]:
    """Return the names of modules in what ``python -X importtime`` writes."""
    return set(re.findall(r"^import time:.*\|\s+([\w.]+)$", trace, flags=re.MULTILINE))


def test_a_hold_is_measured_and_shown_without_what_is_heavy(tmp_path):
    curve = read_curve(CURVE)
    journal = tmp_path / "a.journal"
    write_journal(journal, curve.rig, curve.load_N)
    command = [sys.executable, "-X", "importtime", "-m", "monitor.cli", "run", "--replay", str(journal)]
    command += ["--speed", SPEED, "--page-port", "0", "--data", str(tmp_path / "data")]
    with open_store(DataFolder.open(tmp_path / "data").database):
        pass  # a first start makes the database, which takes migrations; what counts is every start after it
    with (
        (tmp_path / "trace").open("w") as trace,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=trace, text=True) as program,
    ):
        try:
            assert program.stdout is not None
            address = next(m for line in program.stdout if (m := re.match(r"Live page: http://(\S+?)/?$", line)))
            with connect(f"ws://{address[1]}/api/feed", origin=f"http://{address[1]}") as feed:  # type: ignore[arg-type]
                deadline_s = time.monotonic() + PATIENCE_S
                while json.loads(feed.recv(timeout=PATIENCE_S))["type"] != "event":
                    assert time.monotonic() < deadline_s
        finally:
            program.send_signal(signal.SIGINT)
        assert program.wait(PATIENCE_S) == 0
    names = loaded((tmp_path / "trace").read_text(encoding="utf-8"))
    assert {"monitor.service", "monitor.measures.hold", "monitor.dashboard.app", "numpy"} <= names
    assert {name: why for name, why in HEAVY.items() if name in names} == {}
