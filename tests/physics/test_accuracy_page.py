"""The page and the plots of the accuracy check: complete, well-formed, the same for the same stays."""

from __future__ import annotations

import functools
import xml.etree.ElementTree as ElementTree

import pytest

from tests.accuracy.page import page, write_page
from tests.accuracy.plots import all_plots
from tests.accuracy.runs import Record, measured, tasks
from tests.accuracy.summary import rows, table
from tests.physics.scenarios import SCENARIOS, SHARES

STAYS = [("stands_hangs", 8), ("swing_decays", 13), ("pulls", 12), ("steps_on_a_corner", 18)]


@functools.cache
def records() -> tuple[Record, ...]:
    return tuple(measured(stay) for stay in STAYS)


def test_the_page_tells_every_measure_and_every_limit():
    text = page(list(records()), 4)
    for row in rows(records()):
        assert f"| {row.measure} |" in text
    assert "## Limits of validity" in text
    assert "![Swing](images/accuracy_swing.svg)" in text
    assert "nan" not in text.lower().split()


def test_page_and_plots_are_written(tmp_path):
    write_page(tmp_path, list(records()), 4)
    names = {path.name for path in (tmp_path / "images").iterdir()}
    assert names == {f"accuracy_{name}.svg" for name in ("measures", "edges", "swing", "travel")}
    for path in (tmp_path / "images").iterdir():
        assert ElementTree.fromstring(path.read_bytes()).tag.endswith("svg")
        assert b"mathdefault" not in path.read_bytes()
    assert (tmp_path / "accuracy.md").read_text(encoding="utf-8").startswith("# How well it measures")


def test_plots_are_the_same_for_the_same_stays():
    assert all_plots(list(records())) == all_plots(list(records()))


def test_the_table_for_a_terminal_names_the_worst_stays():
    lines = table(rows(records()), show=2).splitlines()
    assert lines[0].split()[:2] == ["measure", "n"]
    assert any(line.startswith("onset") for line in lines)


@pytest.mark.parametrize("bodies", [8, 40])
def test_every_scenario_is_played_by_somebody(bodies):
    assert set(SHARES) == set(SCENARIOS)
    assert {name for name, _ in tasks(bodies)} == set(SCENARIOS)
    assert {seed for _, seed in tasks(bodies)} == set(range(bodies))
