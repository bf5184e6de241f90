"""The examples of ``docs/python-api.md`` run and print what the page says."""

from __future__ import annotations

import contextlib
import dataclasses
import io
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import monitor
from monitor.analysis import analyse_file
from monitor.coaching.coaching_service import CoachingService
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.store import DataFolder, hold_uid, open_store

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "python-api.md").read_text(encoding="utf-8")
CURVE = ROOT / "tests" / "recordings" / "curves" / "s1_seed11.csv.gz"
START_ns = 1_760_000_000_000_000_000


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with what the page speaks of: a curve, and a data folder with one person's stay."""
    shutil.copy(CURVE, tmp_path / "curve.csv.gz")
    outcome = analyse_file(CURVE)
    with open_store(DataFolder.open(tmp_path / "hall").database) as store:
        person = CoachingService(store).add_person("A. K.")
        uid = store.begin_session(START_ns, rig_to_dict(outcome.curve.rig), person_uid=person.uid)
        for number, hold in enumerate(outcome.result.holds, start=1):
            store.save_hold(
                StoredHold(
                    hold_uid(uid, number),
                    uid,
                    number,
                    START_ns + round(hold.onset_s * 1e9),
                    outcome.result.bodyweight_N,
                    outcome.result.bodyweight_u_N,
                    hold,
                    MEASUREMENT_VERSION,
                )
            )
    monkeypatch.chdir(tmp_path)
    return tmp_path


def examples() -> list[tuple[str, str]]:
    """Return the page's examples: code and what it prints."""
    return re.findall(r"```python\n(.*?)```\n\n```text\n(.*?)```", PAGE, flags=re.DOTALL)


def test_every_example_prints_what_the_page_says(place: Path) -> None:
    assert len(examples()) == PAGE.count("```python") == 4
    names: dict[str, object] = {}
    for code, expected in examples():
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            exec(compile(code, "docs/python-api.md", "exec"), names)
        assert out.getvalue() == expected


def test_the_table_names_all_that_is_offered() -> None:
    table = PAGE.split("## ")[0]
    assert {name for name in monitor.__all__ if f"`{name}" not in table} == set()
    for name in monitor.__all__:
        value = getattr(monitor, name)
        assert value.__doc__, name
        assert dataclasses.is_dataclass(value) or callable(value)


def test_importing_the_package_costs_nothing() -> None:
    code = "import sys, monitor; print([m for m in ('numpy', 'scipy', 'sqlalchemy', 'fastapi') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout == "[]\n"
    with pytest.raises(AttributeError, match="no attribute 'analyze'"):
        monitor.analyze  # noqa: B018
    assert set(monitor.__all__) <= set(dir(monitor))
