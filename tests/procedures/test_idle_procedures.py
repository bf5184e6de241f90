"""Procedures that nobody polls or answers end by themselves; readings from before an answer are not fresh."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import ClockFit
from monitor.newtons.calibrating.plan import plan_from_dict
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.procedures.procedure_manager import ABANDONED_S, IDLE_S, ProcedureManager
from monitor.rig import Channel, Rig

RIG = Rig("one hook", (Channel("hook", "bar", rated_N=3000.0),), mount_rating_N=3000.0)
CALIBRATION = Calibration((ChannelCalibration("hook", 5000.0, 1e-3, 10.0, 1e-3),), "first")
RATE_Hz, MINUTE = RIG.nominal_rate_Hz, 60.0


class ProceduresUnderTest:
    """Procedures whose wall clock moves only when a test moves it; the board's time passes with the readings."""

    def __init__(self, root: Path) -> None:
        self.wall_s = self.board_s = 0.0
        self.audit: list[tuple[str, str]] = []
        self.procedures = ProcedureManager(
            RIG, CALIBRATION, root=root, calibrations=root / "calibrations",
            audit=lambda who, what, _: self.audit.append((who, what)),
            utc_ns=lambda: round(self.board_s * 1e9), clock_s=lambda: self.wall_s,
        )  # fmt: skip

    def block(self, seconds: float) -> CountBlock:
        n = round(seconds * RATE_Hz)
        t_s = self.board_s + (1 + np.arange(n)) / RATE_Hz
        self.board_s += seconds
        return CountBlock(0, t_s, np.full((n, 1), 5000, dtype=np.int32))

    def minutes(self, minutes: float) -> None:
        """Let minutes of the board pass."""
        for _ in range(round(2 * minutes)):
            self.procedures.take(self.block(MINUTE / 2))


@pytest.fixture
def under_test(tmp_path) -> ProceduresUnderTest:
    return ProceduresUnderTest(tmp_path)


def begun(under_test: ProceduresUnderTest, kind: str) -> None:
    if kind == "zero":
        under_test.procedures.zero("Ann", 5)
    elif kind == "check":
        under_test.procedures.check("Ann", watch_s=10, heaviest_kg=130, with_person=False, largest_peak_N=None)
    else:
        plates = {"masses": [{"name": "A", "kg": 20}, {"name": "B", "kg": 20}]}
        plan = plan_from_dict({**plates, "series": [{"part": "bar", "masses": ["A", "B"]}]}, RIG)
        under_test.procedures.calibrate("Ann", plan, warm_up_s=0)


@pytest.mark.parametrize("kind", ["zero", "calibration", "check"])
def test_a_procedure_that_waits_an_hour_for_somebody_is_given_up(under_test, kind):
    begun(under_test, kind)
    under_test.minutes(1)  # now it waits: for a load, or for its result to be accepted
    under_test.minutes(IDLE_S / MINUTE - 2)
    assert under_test.procedures.state() is not None  # a page left open, which asks again and again
    under_test.minutes(2)
    assert under_test.procedures.state() is None
    assert not under_test.procedures.busy
    assert under_test.audit[-1][0] == "this program"
    assert "nobody went on for 60 minutes" in under_test.audit[-1][1]


def test_a_procedure_that_is_answered_does_not_wait_from_its_beginning(under_test):
    begun(under_test, "zero")
    under_test.minutes(50)
    under_test.procedures.act("next", 1)
    under_test.minutes(50)
    assert under_test.procedures.state()["stage"] == "finished"


def test_a_long_reading_is_no_waiting(under_test):
    under_test.procedures.zero("Ann", 3 * IDLE_S)
    under_test.minutes(2 * IDLE_S / MINUTE)
    assert under_test.procedures.state()["stage"] == "reading"


def test_a_procedure_that_no_screen_asks_for_is_given_up(under_test):
    begun(under_test, "zero")
    under_test.wall_s += ABANDONED_S - 1
    under_test.minutes(1)
    assert under_test.procedures.state() is not None
    under_test.wall_s += ABANDONED_S + 1
    under_test.minutes(1)
    assert under_test.procedures.state() is None
    assert "nobody looked at it for 5 minutes" in under_test.audit[-1][1]


def test_readings_from_before_the_end_of_a_procedure_are_not_fresh(under_test):
    under_test.procedures.take(ClockFit(0, 1.0, 5e-5, 0, 0))
    begun(under_test, "zero")
    under_way = under_test.block(1)
    under_test.procedures.cancel("Ann")
    assert not under_test.procedures.is_fresh(under_way)
    assert under_test.procedures.is_fresh(under_test.block(1))


def test_a_host_clock_that_was_set_back_keeps_no_reading_away(under_test):
    under_test.procedures.take(ClockFit(0, 1.0, 5e-5, 0, -3600 * 10**9))
    begun(under_test, "zero")
    under_test.procedures.cancel("Ann")
    assert under_test.procedures.is_fresh(under_test.block(1))
