"""The guided calibration's keys in the terminal."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator

import pytest
from rig_on_the_bench import ONE, plan_for

from firmware_bridge.sources import LinkState, SourceEvent
from monitor.cli.terminal.guided_calibration import CalibrationGivenUp, GuidedScreen
from monitor.newtons.calibrating.guide import GuidedCalibration


class Mute:
    """A source that is connected and says nothing until it is closed."""

    def __init__(self, *, ends: bool = False) -> None:
        self._closed = threading.Event()
        self._ends = ends

    def events(self) -> Iterator[SourceEvent]:
        yield LinkState("connected", 0)
        if not self._ends:
            self._closed.wait()

    def close(self) -> None:
        self._closed.set()


@pytest.fixture
def keys(monkeypatch):
    """Return a function that types into the terminal."""
    read, write = os.pipe()
    with os.fdopen(read) as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        yield lambda text: os.write(write, text.encode())
        os.close(write)


def screen(source) -> GuidedScreen:
    return GuidedScreen(GuidedCalibration(ONE, plan_for(ONE, [{"part": "bar", "masses": ["A", "B"]}])), source, None)


def test_q_ends_it_and_nothing_is_saved(keys):
    keys("q\n")
    source = Mute()
    with pytest.raises(CalibrationGivenUp, match="by hand"):
        screen(source).run()
    source.close()


def test_s_goes_on_and_enter_confirms(keys):
    running = screen(Mute())
    keys("s\n")
    running._answer()
    assert running.machine.progress.stage == "place"
    keys("\n")
    running._answer()
    assert running.machine.progress.stage == "reading"
    assert running.record.steps == {1: []}


def test_a_board_that_goes_away_for_good_ends_it(keys):
    with pytest.raises(CalibrationGivenUp, match="board ended"):
        screen(Mute(ends=True)).run()
