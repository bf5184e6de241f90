"""The page and the plots of the accuracy check: complete, well-formed, the same for the same sessions."""

from __future__ import annotations

import functools
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from tests.accuracy.comparison import Deviation
from tests.accuracy.page import page, write_page
from tests.accuracy.plots import all_plots
from tests.accuracy.runs import Record, measured, tasks
from tests.accuracy.summary import rows, table
from tests.physics.scenarios import SCENARIOS, SHARES

SESSIONS = [("stands_hangs", 8), ("swing_decays", 13), ("pulls", 12), ("steps_on_a_corner", 18)]


@functools.cache
def records() -> tuple[Record, ...]:
    return tuple(measured(session) for session in SESSIONS)


def test_the_page_tells_every_measure_and_every_limit():
    text = page(list(records()), 4)
    for row in rows(records()):
        assert f"| {row.measure} |" in text
    assert "## Limits of validity" in text
    assert "![Swing](images/accuracy_swing.svg)" in text
    assert "nan" not in text.lower().split()


def test_page_and_plots_are_written_and_the_same_for_the_same_sessions(tmp_path):
    write_page(tmp_path, list(records()), 4)
    written = {path.name: path.read_bytes() for path in (tmp_path / "images").iterdir()}
    assert set(written) == {f"accuracy_{name}.svg" for name in ("measures", "edges", "swing", "travel")}
    for svg in written.values():
        assert ElementTree.fromstring(svg).tag.endswith("svg")
        assert b"mathdefault" not in svg
    assert (tmp_path / "accuracy.md").read_text(encoding="utf-8").startswith("# How well it measures")
    assert written == {f"accuracy_{name}.svg": svg for name, svg in all_plots(list(records())).items()}


def test_unseen_bodies_have_a_section_that_names_what_falls_short():
    spoilt = records()[0]
    worse = [Deviation("release", 31.0) if one.measure == "release" else one for one in spoilt.deviations]
    unseen = page(list(records()), 4, [replace(spoilt, deviations=worse)]).split("## Unseen bodies")[1]
    messages = unseen.split("\n## ")[0]
    assert "release (stands_hangs:8 31)" in messages
    (row,) = [line for line in messages.splitlines() if line.startswith("| release |")]
    assert row == "| release | ms | 1 | 31 | 31 | 31 | 25 | 3 | **falls short** |"
    assert "## Unseen bodies" not in page(list(records()), 4)


def test_the_page_tells_what_was_said_and_withheld_in_a_hard_case():
    lines = page(list(records()), 4).split("## What it says in hard cases")[1].splitlines()
    (row,) = [line for line in lines if line.startswith("| Hang, one bare foot treads on one corner")]
    (hold,) = next(r for r in records() if r.name == "steps_on_a_corner").result["holds"]
    _, _, sessions, held, flags, events, withheld, _ = (cell.strip() for cell in row.split("|"))
    assert (sessions, held) == ("1", "unassisted, kind unknown")
    assert {flag.strip(" `") for flag in flags.split(",")} >= set(hold["flags"])
    assert "touch 2" in events
    assert ("swing" in withheld) == (hold["swing"] is None or hold["swing"]["max_deg"] is None)


def test_the_table_for_a_terminal_names_the_worst_sessions():
    lines = table(rows(records()), show=2).splitlines()
    assert lines[0].split()[:2] == ["measure", "n"]
    assert any(line.startswith("onset") for line in lines)


@pytest.mark.parametrize("bodies", [8, 40])
def test_every_scenario_is_played_by_somebody(bodies):
    assert set(SHARES) == set(SCENARIOS)
    assert {name for name, _ in tasks(bodies)} == set(SCENARIOS)
    assert {seed for _, seed in tasks(bodies)} == set(range(bodies))
