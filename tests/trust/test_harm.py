"""A few of the ends of ``python -m tests.harm``: which ones, is fixed by their seeds."""

from __future__ import annotations

import pytest

from tests.harm.moments import Ender, Moment

MOMENTS = [
    *(Moment("monitor", seed) for seed in (1, 4, 6)),
    *(Moment("power", seed) for seed in (12, 15, 17)),
    *(Moment(kind, seed) for kind in ("migrating", "rebuilding", "packing", "mending") for seed in (2,)),
    *(Moment("backing up", seed) for seed in (2, 3)),
    Moment("reanalysing", 3),
    Moment("zeroing", 5),
    Moment("calibrating", 7),
]


@pytest.fixture(scope="module")
def ender(tmp_path_factory) -> Ender:
    return Ender(tmp_path_factory.mktemp("harm"))


@pytest.mark.parametrize("moment", MOMENTS, ids=lambda m: f"{m.kind} {m.seed}")
def test_nothing_that_was_acknowledged_is_missing_after_an_end(ender, moment):
    verdict = ender.play(moment)
    assert verdict.missing == []
    assert verdict.acknowledged > 0
