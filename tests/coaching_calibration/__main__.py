"""Prints the calibration: ``python -m tests.coaching_calibration``."""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from tests.coaching_calibration.people import NARROW_s, WIDE_s, one_person
from tests.coaching_calibration.reliability import LEAST_CASES, assisted, brier, brier_limits, coverage, reliability


def main() -> int:
    """Run the simulation."""
    parser = argparse.ArgumentParser(prog="python -m tests.coaching_calibration", description=__doc__)
    parser.add_argument("--people", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first of them")
    parser.add_argument("--prescribed", action="store_true", help="help and target as the model itself prescribes")
    parser.add_argument("--narrow", action="store_true", help="people who are all near 30 s")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.people)
    draw = partial(
        one_person,
        prescribed=options.prescribed,
        middles_s=NARROW_s if options.narrow else WIDE_s,
        with_best=True,
    )
    with ProcessPoolExecutor(options.jobs) as pool:
        outcomes = list(pool.map(draw, seeds, chunksize=20))
    print(f"{len(outcomes)} invented people, six assisted holds each")
    print("chance of 30 s unassisted:        cases stated held   off")
    for fifth in reliability(outcomes):
        few = "" if fifth.cases >= LEAST_CASES else "   (too few to judge)"
        print(
            f"  {fifth.low:.1f} to {fifth.low + 0.2:.1f}                   {fifth.cases:6d} {fifth.stated:5.2f} "
            f"{fifth.held:5.2f} {fifth.off:5.3f}{few}"
        )
    stated, held = assisted(outcomes)
    nobody, best = brier_limits(outcomes)
    print(
        f"Brier score {brier(outcomes):.4f}; the best that these holds allow {best:.4f}, of who knows all {nobody:.4f}"
    )
    print(f"four-fifths interval of the unassisted time holds {coverage(outcomes):.3f}")
    print(f"least assistance for 30 s: stated {stated:.3f}, held {held:.3f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
