"""Two minutes of ``python -m tests.soak``: every fault of the wire and of the clocks, counts that add up exactly."""

from __future__ import annotations

from tests.soak.board import FAULTS
from tests.soak.day import play


def test_two_minutes_of_a_hall_with_every_fault_add_up_exactly():
    # Faults come three times as often as in a long soak, so that each of them happens (found by trying seeds).
    account = play(0.035, seed=27, latest_s=12.0, look_every_h=0.01)
    assert account.wrong == []
    assert set(account.tally.faults) == set(FAULTS)
    assert account.received + account.lost > 0.03 * 3600 * 80
    assert account.lost > 0
    assert account.damaged > 0
    assert account.compared > 0
    assert account.stored > 0
