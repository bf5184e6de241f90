"""Some minutes of ``python -m tests.soak``: every fault of the wire and of the clocks, counts that add up exactly."""

from __future__ import annotations

from tests.soak.day import play


def test_some_minutes_of_a_hall_add_up_exactly():
    account = play(0.07, seed=4, look_every_h=0.02)
    assert account.wrong == []
    assert account.received + account.lost > 0.05 * 3600 * 80
    assert account.lost > 0
    assert account.damaged > 0
    assert account.compared > 0
    assert account.stored > 0
