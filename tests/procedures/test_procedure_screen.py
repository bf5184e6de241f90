"""The terminal's view of a guided procedure: it feeds the procedure from a source and shows what it asks for."""

from __future__ import annotations

import os
from collections.abc import Iterator

import numpy as np
import pytest

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import SourceEvent
from monitor.cli.terminal.procedure_screen import ProcedureScreen
from monitor.health.checkup import Checkup
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.procedures.check import CheckProcedure
from monitor.procedures.procedure import ProcedureEnded
from monitor.procedures.zero import ZeroProcedure
from monitor.rig import Channel, Rig, WrongBoard

RATE_Hz = 80.0
RIG = Rig("one hook", (Channel("hook", "bar", rated_N=3000.0),), mount_rating_N=3000.0)
CALIBRATION = Calibration((ChannelCalibration("hook", 5000.0, 1e-3, 10.0, 1e-3),), "first")


class Recorded:
    """A source that sends blocks of a second, then ends."""

    def __init__(self, seconds: int, channels: int = 1) -> None:
        self._seconds, self._channels = seconds, channels

    def events(self) -> Iterator[SourceEvent]:
        noise = np.random.default_rng(3)
        for second in range(self._seconds):
            t_s = second + (1 + np.arange(80)) / RATE_Hz
            counts = np.round(5250 + noise.normal(0.0, 20.0, (80, self._channels))).astype(np.int32)
            yield CountBlock(0, t_s, counts)

    def close(self) -> None:
        pass


def test_a_zero_is_read_as_soon_as_there_are_enough_readings(capsys):
    procedure = ZeroProcedure(RIG, CALIBRATION, 5)
    ProcedureScreen(procedure, Recorded(6), automatic=True).run()
    assert procedure.reading is not None
    # 250 counts of 1 mN each since the zero in force.
    assert procedure.reading.shift_N[0] == pytest.approx(0.25, abs=0.01)
    assert "1 of 1: Leave the rig empty and still." in capsys.readouterr().err


def test_a_board_with_other_channels_gives_no_zero():
    with pytest.raises(WrongBoard, match="2 channels; the rig description has 1"):
        ProcedureScreen(ZeroProcedure(RIG, CALIBRATION, 5), Recorded(6, channels=2), automatic=True).run()


def test_a_board_that_ends_too_early_gives_no_zero():
    with pytest.raises(ProcedureEnded, match="nothing was saved"):
        ProcedureScreen(ZeroProcedure(RIG, CALIBRATION, 5), Recorded(3), automatic=True).run()


def test_a_check_whose_board_ends_judges_what_there_is():
    procedure = CheckProcedure(Checkup(RIG, CALIBRATION, empty_s=10.0))
    ProcedureScreen(procedure, Recorded(4), automatic=True).run()
    (cut_off,) = [v for v in procedure.report["verdicts"] if v["key"] == "ended"]
    assert (cut_off["outcome"], cut_off["words"]) == ("bad", "The board ended.")


def test_s_leaves_out_a_task_of_the_check_but_not_the_empty_rig(monkeypatch):
    procedure = CheckProcedure(Checkup(RIG, CALIBRATION, empty_s=10.0))
    screen = ProcedureScreen(procedure, Recorded(0))
    read, write = os.pipe()
    with os.fdopen(read) as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        os.write(write, b"s\n")
        screen.answer(procedure.state())
        assert procedure.state().task["key"] == "empty"
        for event in Recorded(11).events():
            procedure.take(event)
        assert procedure.state().task["key"] == "press:hook"
        os.write(write, b"s\n")
        screen.answer(procedure.state())
        assert procedure.state().stage == "finished"
        os.close(write)
