"""A fixed part of the Monte Carlo of ``tests/coverage_of_intervals.py``: 95 % intervals hold the truth about as often."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.stats import binom

from tests.coverage_of_intervals import Miss, Row, measured, misses, play, runs, table

PEOPLE, RIGS = 40, 5
LOW, HIGH = 0.93, 0.97
"""Coverage that is asked of the whole Monte Carlo of 2,000 runs."""

TAIL = 1e-3
"""How rarely a part of it with a coverage at the limit may fail (drawn once: the seeds are fixed)."""


@pytest.fixture(scope="module")
def coverage() -> dict[str, Row]:
    return {row.name: row for row in table(runs(range(PEOPLE), RIGS))}


@pytest.mark.parametrize("number", ["bodyweight", "beta", "alpha", "duration"])
def test_intervals_hold_the_truth_as_often_as_they_say(coverage, number):
    rows = [row for name, row in coverage.items() if name.split(",")[0] == number]
    assert len(rows) == (1 if number == "bodyweight" else 2)
    for row in rows:
        assert row.of == PEOPLE * RIGS
        assert binom.ppf(TAIL, row.of, LOW) <= row.inside <= binom.ppf(1 - TAIL, row.of, HIGH), row
        assert 0.8 < row.ratio < 1.25, row


def test_uncertainties_that_were_too_small_or_too_large_would_be_seen():
    """Doubled or halved, the same errors are outside of the bounds: 68 % and 99.99 % would be inside."""
    found = runs(range(20), 2)
    for factor in (0.5, 2.0):
        rows = table([Miss(m.name, m.error, factor * m.u) for m in found for _ in range(5)])
        shares = [row.share for row in rows]
        assert all(s < 0.87 for s in shares) if factor < 1 else all(s > 0.99 for s in shares)


def test_a_truth_that_is_wrong_would_be_seen():
    """A bodyweight that is off by 0.2 % lies outside of its interval nearly always."""
    played = play(3)
    result = measured(played, 3)
    (weight, *_) = misses(replace(played, weight_N=1.002 * played.weight_N), result)
    assert abs(weight.error) > 3 * weight.u
