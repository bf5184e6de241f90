"""Uniform rows and wild readings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.newtons.load_block import LoadBlock
from monitor.signals.spikes import LEAST_SPIKE_N, LOOK_AHEAD, Despike, _middle
from monitor.signals.uniform_grid import LONGEST_FILLED_S, UniformGrid


def block(first: int, count: int, *, lost: int = 0, segment: int = 0) -> LoadBlock:
    rows = np.arange(first, first + count)
    return LoadBlock(rows / 80, np.column_stack([rows, -rows]).astype(float), segment, lost)


def test_lost_rows_come_back_empty_at_their_times():
    grid = UniformGrid(80.0)
    assert grid.push(block(0, 5))[1] is True
    filled, restart = grid.push(block(8, 2, lost=3))
    assert restart is False
    assert filled.t_s.tolist() == pytest.approx([n / 80 for n in (5, 6, 7, 8, 9)])
    assert np.isnan(filled.load_N).all(axis=1).tolist() == [True, True, True, False, False]
    assert filled.load_N[3:].tolist() == [[8, -8], [9, -9]]
    assert filled.lost_before == 0
    assert grid.lost == 3


def test_a_new_segment_and_a_long_gap_begin_anew():
    grid, longest = UniformGrid(80.0), int(LONGEST_FILLED_S * 80)
    grid.push(block(0, 5))
    assert grid.push(block(5 + longest, 5, lost=longest))[1] is False
    assert grid.push(block(5000, 5, lost=longest + 1))[1] is True
    out, restart = grid.push(block(0, 5, lost=7, segment=1))
    assert restart is True
    assert len(out) == 5
    # What was lost between two clocks nobody knows; it counts for neither.
    assert grid.lost == longest + longest + 1


def test_an_empty_block_changes_nothing():
    grid = UniformGrid(80.0)
    assert grid.push(block(0, 0))[1] is False
    assert grid.push(block(0, 3))[1] is True
    assert grid.push(block(0, 0, segment=5))[1] is False
    assert grid.push(block(3, 3))[1] is False


def cleaned(load_N: np.ndarray, sizes: list[int] | None = None) -> tuple[np.ndarray, Despike, list[int]]:
    """Return the despiked rows, the stage, and the rows in which it says it masked something."""
    stage, parts, marked, begin = Despike(load_N.shape[1]), [], [], 0
    t_s = np.arange(len(load_N)) / 80
    for size in sizes or [len(load_N)]:
        out_s, out = stage.push(t_s[begin : begin + size], load_N[begin : begin + size])
        marked += [sum(len(p) for p in parts) + row for row in stage.masked]
        parts.append(out)
        begin += size
        np.testing.assert_array_equal(out_s, t_s[sum(len(p) for p in parts) - len(out) : sum(len(p) for p in parts)])
    _, rest = stage.flush()
    marked += [sum(len(p) for p in parts) + row for row in stage.masked]
    return np.concatenate([*parts, rest]), stage, marked


def quiet(rows: int = 40, cells: int = 6) -> np.ndarray:
    return 100.0 + 0.3 * np.random.default_rng(2).standard_normal((rows, cells))


@pytest.mark.parametrize("row", [0, 1, 2, 17, 37, 38, 39])
@pytest.mark.parametrize("size_N", [8388.607, -500.0, 20.0])
def test_a_spike_in_one_cell_is_masked_wherever_it_stands(row, size_N):
    spiked = quiet()
    spiked[row, 3] += size_N
    clean, stage, marked = cleaned(spiked)
    assert np.max(np.abs(clean - 100)) < 2
    assert stage.spikes == 1
    assert marked == [row]
    stored = np.ones_like(clean, dtype=bool)
    stored[row, 3] = False
    np.testing.assert_array_equal(clean[stored], spiked[stored])


def test_a_blow_that_moves_two_cells_is_load():
    struck = quiet()
    struck[20, [0, 1]] += 400.0
    clean, stage, marked = cleaned(struck)
    np.testing.assert_array_equal(clean, struck)
    assert (stage.spikes, marked) == (0, [])


def test_a_step_and_a_ramp_are_load():
    moved = quiet(cells=1)
    moved[15:] += 300.0
    ramp = quiet(cells=1) + 30.0 * np.arange(40)[:, None]
    for load_N in (moved, ramp):
        clean, stage, _ = cleaned(load_N)
        np.testing.assert_array_equal(clean, load_N)
        assert stage.spikes == 0


def test_less_than_the_limit_is_left_alone():
    small = np.full((11, 1), 100.0)
    small[5] += LEAST_SPIKE_N
    assert cleaned(small)[1].spikes == 0
    small[5] += 0.01
    assert cleaned(small)[1].spikes == 1


def test_single_failed_readings_are_bridged_longer_ones_are_not():
    load_N = np.outer(np.arange(20.0), [1.0, 2.0])
    load_N[6, 1] = np.nan
    load_N[12:14] = np.nan
    clean, stage, _ = cleaned(load_N)
    assert clean[6].tolist() == [6.0, 12.0]
    assert np.isnan(clean[12:14]).all()
    assert np.isfinite(np.delete(clean, [12, 13], axis=0)).all()
    assert stage.spikes == 0


def test_a_spike_beside_a_lost_row_is_masked_too():
    load_N = quiet()
    load_N[19] = np.nan
    load_N[20, 2] += 900.0
    clean, stage, _ = cleaned(load_N)
    assert stage.spikes == 1
    assert clean[20, 2] == pytest.approx(100, abs=2)


def test_the_stage_lags_by_two_rows_and_says_so():
    stage = Despike(1)
    assert len(stage.push(np.arange(1) / 80, np.ones((1, 1)))[0]) == 0
    assert len(stage) == 1
    assert len(stage.push(np.arange(1, 10) / 80, np.ones((9, 1)))[0]) == 10 - LOOK_AHEAD
    assert len(stage) == LOOK_AHEAD
    assert len(stage.flush()[0]) == LOOK_AHEAD
    assert len(stage) == 0


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 2**32 - 1), sizes=st.lists(st.integers(0, 15), min_size=1, max_size=60))
def test_cuts_never_show(seed, sizes):
    random = np.random.default_rng(seed)
    load_N = 100.0 + random.standard_normal((sum(sizes), 3))
    wild = random.random(load_N.shape)
    load_N[wild < 0.05] += 900.0
    load_N[(wild > 0.05) & (wild < 0.1)] = np.nan
    whole, in_one, marked = cleaned(load_N)
    pieces, in_many, marked_in_many = cleaned(load_N, sizes)
    np.testing.assert_array_equal(whole, pieces)
    assert in_one.spikes == in_many.spikes == len(marked)
    assert marked == marked_in_many


def test_the_median_of_the_readings_present_equals_numpys():
    random = np.random.default_rng(4)
    neighbours = random.standard_normal((4, 200))
    for column in range(200):
        neighbours[random.permutation(4)[: random.integers(1, 4)], column] = np.nan
    np.testing.assert_array_equal(_middle(neighbours), np.nanmedian(neighbours, axis=0))
