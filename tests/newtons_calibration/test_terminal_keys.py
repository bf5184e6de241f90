"""The guided calibration's keys in the terminal."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator

import pytest
from loaded_rig import ONE, plan_for

from firmware_bridge.sources import LinkState, SourceEvent
from monitor.cli.terminal.procedure_screen import ProcedureScreen
from monitor.procedures.calibration import CalibrationProcedure
from monitor.procedures.procedure import ProcedureEnded


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


def screen(source) -> ProcedureScreen:
    plan = plan_for(ONE, [{"part": "bar", "masses": ["A", "B"]}])
    return ProcedureScreen(CalibrationProcedure(ONE, plan, None), source, silence_s=None)


def press(running: ProcedureScreen) -> None:
    running.answer(running.procedure.state())


def test_q_ends_it_and_nothing_is_saved(keys):
    keys("q\n")
    source = Mute()
    with pytest.raises(ProcedureEnded, match="by hand"):
        screen(source).run()
    source.close()


def test_s_goes_on_and_enter_confirms(keys):
    running = screen(Mute())
    keys("s\n")
    press(running)
    assert running.procedure.state().stage == "place"
    keys("\n")
    press(running)
    assert running.procedure.state().stage == "reading"
    assert running.procedure.record.steps == {1: []}


def test_a_board_that_goes_away_for_good_ends_it(keys):
    with pytest.raises(ProcedureEnded, match="board ended"):
        screen(Mute(ends=True)).run()
