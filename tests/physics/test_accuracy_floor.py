"""A fixed small subset of the accuracy check: each measure's floor holds, from raw counts on.

Bodies, behaviour and truth: MuJoCo, by ``tests/physics``. Floors: ``tests/accuracy/limits.py``, set by the project.
The whole check (40 bodies, all cases, statistical bounds) is ``python -m tests.accuracy``.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest

from tests.accuracy.limits import LIMITS, figure
from tests.accuracy.runs import Record, measured

SESSIONS = [
    ("stands_hangs", 8),
    ("drops_off", 9),
    ("assisted_growing", 10),
    ("pulls", 12),
    ("swing_decays", 13),
    ("third_support", 14),
    ("changes_hands", 8),
    ("jumps_up", 9),
    ("never_hangs", 10),
    ("pulls_while_swinging", 16),
    ("heavy_assistance", 17),
    ("steps_on_a_corner", 18),
    # The first body's movements once more, on a rig in trouble: no simulation of their own.
    ("radio_gap", 8),
    ("mains_hum", 8),
    ("warming_up", 8),
    ("saturated_cell", 8),
]


@functools.cache
def records() -> list[Record]:
    return [measured(session) for session in SESSIONS]


@functools.cache
def errors_of(measure: str) -> tuple[tuple[float, ...], tuple[str, ...], float]:
    pairs = [(one, f"{r.name}:{r.seed}") for r in records() for one in r.deviations if one.measure == measure]
    return tuple(p[0].error for p in pairs), tuple(p[1] for p in pairs), sum(p[0].exposure_s for p in pairs)


@pytest.mark.parametrize("measure", LIMITS)
def test_the_floor_holds(measure):
    errors, places, exposure_s = errors_of(measure)
    assert errors, "the subset has no case of this measure"
    limit = LIMITS[measure]
    worst = sorted(zip(errors, places, strict=True), reverse=True)[:3]
    assert figure(limit, np.array(errors), exposure_s) <= limit.floor, worst


def test_onsets_and_releases_are_within_10_ms_in_the_median():
    for measure in ("onset", "release"):
        errors, _, _ = errors_of(measure)
        assert np.median(errors) <= 10.0
