"""``python -m tests.harm [--moments N] [--seed S]``: many ends, what each left, how long a start takes after one."""

from __future__ import annotations

import argparse
import logging
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.harm.moments import LONGEST_S, Ender, Moment
from tests.harm.start import seconds_to_first_page

SHARES = {"monitor": 10, "power": 10, "migrating": 2, "rebuilding": 2, "packing": 2, "backing up": 2, "mending": 2,
          "reanalysing": 3, "zeroing": 3, "calibrating": 3}  # fmt: skip


def main() -> int:
    """Play the moments and print what came of them; exit status 1 when anything was missing."""
    requested = argparse.ArgumentParser(prog="python -m tests.harm", description=__doc__)
    requested.add_argument("--moments", type=int, default=300)
    requested.add_argument("--seed", type=int, default=0)
    requested.add_argument("--only", choices=sorted(LONGEST_S), help="one kind of life")
    given = requested.parse_args()
    kinds = [kind for kind, share in SHARES.items() for _ in range(share) if given.only in (None, kind)]
    logging.disable(logging.ERROR)
    missing, counts, lost_s, rebuilt, acknowledged = 0, Counter[str](), {}, 0, 0
    with tempfile.TemporaryDirectory() as place:
        ender = Ender(Path(place))
        for number in range(given.moments):
            moment = Moment(kinds[number % len(kinds)], given.seed + number)
            verdict = ender.play(moment)
            counts[moment.kind] += 1
            acknowledged += verdict.acknowledged
            rebuilt += verdict.rebuilt
            lost_s[moment.kind] = max(lost_s.get(moment.kind, 0.0), verdict.lost_s)
            for line in verdict.missing:
                missing += 1
                sys.stdout.write(f"{moment}: {line}\n")
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{number + 1} of {given.moments}")
        start_s = seconds_to_first_page(Path(place) / "start")
    sys.stdout.write(
        f"{sum(counts.values())} ends ({', '.join(f'{n} {kind}' for kind, n in counts.items())}): {acknowledged} "
        f"acknowledgements, {rebuilt} interrupted sessions rebuilt, {missing} things missing\n"
        + "".join(f"readings lost before {kind} end: at most {s:.2f} s\n" for kind, s in lost_s.items() if s)
        + f"from the command to the first page after a kill: {start_s:.2f} s (goal: under 5 s)\n"
    )
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
