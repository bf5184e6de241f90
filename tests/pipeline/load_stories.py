"""Loads made by hand: stays on a rig as points joined by straight lines, with the faults that converters have."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.newtons.load_block import LoadBlock
from monitor.rig import STANDARD_CHANNELS, Channel, Rig

BODYWEIGHT_N = 700.0
RIG = Rig("by hand", STANDARD_CHANNELS)

Points = Sequence[tuple[float, float, float]]
"""Seconds, bar and feet in shares of bodyweight."""

TWO_SESSIONS: Points = (
    (0.0, 0, 0),
    (2.0, 0, 0),
    (2.2, 0, 1),
    (6.0, 0, 1),
    (6.2, 1, 0),
    (10.0, 1, 0),
    (10.05, 0.1, 0),
    (10.45, 0.1, 0),
    (10.5, 1, 0),
    (18.0, 1, 0),
    (18.1, 0, 0.2),
    (18.3, 0, 1),
    (20.0, 0, 1),
    (20.2, 0, 0),
    (26.0, 0, 0),
    (26.2, 0, 1),
    (28.0, 0, 1),
    (28.1, 0.8, 0.2),
    (33.0, 0.8, 0.2),
    (33.1, 0, 1),
    (34.0, 0, 1),
    (34.2, 0, 0),
    (38.0, 0, 0),
)


def eight_cells() -> Rig:
    """Return a rig with four bar cells and four platform cells."""
    bar = tuple(Channel(f"bar_{i}", "bar", x, 0.0) for i, x in enumerate((-0.6, -0.2, 0.2, 0.6)))
    return Rig("eight cells", bar + STANDARD_CHANNELS[2:])


def loads(
    points: Points, *, rig: Rig = RIG, rate_Hz: float = 80.0, noise_N: float = 0.4, seed: int = 5
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times (n,) and loads (n, channels) in newtons, each part shared unevenly by its cells."""
    t, bar, feet = np.array(points, dtype=float).T
    t_s = np.arange(t[0], t[-1], 1 / rate_Hz)
    random = np.random.default_rng(seed)
    load_N = noise_N * random.standard_normal((len(t_s), len(rig.channels)))
    for index, share in ((rig.bar_index, bar), (rig.platform_index, feet)):
        weights = 1.0 + 0.1 * np.arange(len(index))
        part_N = BODYWEIGHT_N * np.interp(t_s, t, share)
        load_N[:, list(index)] += part_N[:, None] * (weights / weights.sum())
    return t_s, load_N


def with_faults(load_N: NDArray[np.float64], seed: int = 6, every: int = 150) -> NDArray[np.float64]:
    """Return the loads with single wild readings and single failed readings, about one in ``every`` rows each."""
    faulty, random = load_N.copy(), np.random.default_rng(seed)
    for row in random.choice(np.arange(3, len(faulty) - 3), len(faulty) // every, replace=False).tolist():
        faulty[row, random.integers(faulty.shape[1])] = 8388.607
    for row in random.choice(np.arange(3, len(faulty) - 3), len(faulty) // every, replace=False).tolist():
        faulty[row, random.integers(faulty.shape[1])] = np.nan
    return faulty


def blocks_of(
    t_s: NDArray[np.float64], load_N: NDArray[np.float64], lost: Iterable[tuple[int, int]] = (), segment: int = 0
) -> list[LoadBlock]:
    """Return the rows as few blocks as possible; ``lost`` holds first row and number of rows that never arrived."""
    blocks, start, missing = [], 0, 0
    for row, count in sorted(lost):
        blocks.append(LoadBlock(t_s[start:row], load_N[start:row], segment, missing))
        start, missing = row + count, count
    blocks.append(LoadBlock(t_s[start:], load_N[start:], segment, missing))
    return blocks


def cut(blocks: Iterable[LoadBlock], at: Iterable[int]) -> list[LoadBlock]:
    """Return the same stream in other pieces; ``at`` counts rows through all blocks, doubled cuts give empty blocks."""
    pieces, begin = [], 0
    places = sorted(at)
    for block in blocks:
        inner = [p - begin for p in places if begin < p < begin + len(block)]
        edges = [0, *inner, len(block)]
        for number, (a, b) in enumerate(itertools.pairwise(edges)):
            lost = 0 if number else block.lost_before
            pieces.append(LoadBlock(block.t_s[a:b], block.load_N[a:b], block.segment, lost))
        begin += len(block)
    return pieces
