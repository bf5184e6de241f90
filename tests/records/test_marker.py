"""The turn of a board's clock by which a session that is read from its journal may be displaced."""

from __future__ import annotations

import pytest

from monitor.records.marker import TURN_s


def test_a_boards_clock_turns_over_every_71_6_minutes():
    # Wire protocol 1: a 32-bit counter of microseconds.
    assert TURN_s == pytest.approx(4294.967296, abs=1e-9)
    assert round(TURN_s / 60, 1) == 71.6
