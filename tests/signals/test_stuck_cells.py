"""Cells that repeat themselves: a converter at its limit gives the same count for ever (common practice, no source)."""

from __future__ import annotations

import numpy as np

from monitor.signals.stuck_cells import STUCK_S, stuck_rows

RATE_Hz = 80.0
ROWS = round(STUCK_S * RATE_Hz)


def living(rows: int = 400) -> np.ndarray:
    return 300.0 + np.random.default_rng(4).normal(0, 0.4, (rows, 3))


def test_a_working_cell_is_never_stuck():
    assert not stuck_rows(living(), RATE_Hz).any()


def test_a_rail_is_found_with_all_its_rows_and_nothing_else():
    load = living()
    load[100:180, 1] = 1986.7
    stuck = stuck_rows(load, RATE_Hz)
    assert stuck[100:180, 1].all()
    assert stuck.sum() == 80


def test_a_short_repeat_and_a_coarse_zero_are_none():
    load = living()
    load[100 : 100 + ROWS - 2, 0] = 250.0
    load[:, 2] = 0.0
    assert not stuck_rows(load, RATE_Hz).any()
