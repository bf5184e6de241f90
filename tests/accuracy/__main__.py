"""Reruns the accuracy check: ``python -m tests.accuracy``."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.accuracy.runs import Record, measured_all, tasks
from tests.accuracy.summary import rows, table


def main() -> int:
    """Run the check."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("--bodies", type=int, default=40, help="how many people are drawn")
    parser.add_argument("--first", type=int, default=0, help="seed of the first of them")
    parser.add_argument("--jobs", type=int, default=2, help="processes at a time")
    parser.add_argument("--only", nargs="*", default=(), help="scenarios, played by every body; nothing is written")
    parser.add_argument("--show", type=int, default=0, help="name the worst stays of each measure that misses its aim")
    parser.add_argument("--out", type=Path, help="folder into which accuracy.md and images/accuracy_*.svg are written")
    parser.add_argument(
        "--unseen",
        type=int,
        metavar="SEED",
        help="as many other people from this seed on, told in a section of their own",
    )
    options = parser.parse_args()
    records = _report(tasks(options.bodies, options.first, options.only), options.jobs, options.show)
    unseen = None
    if options.unseen is not None:
        unseen = _report(tasks(options.bodies, options.unseen, options.only), options.jobs, options.show)
    if options.out is not None and not options.only:
        from tests.accuracy.page import write_page

        write_page(options.out, records, options.bodies, unseen)
    return 0


def _report(wanted: list[tuple[str, int]], jobs: int, show: int) -> list[Record]:
    """Measure stays, tell how far it is, print the table, and return the records."""
    begun, records = time.monotonic(), list[Record]()
    for record in measured_all(wanted, jobs):
        records.append(record)
        if len(records) % 20 == 0:
            print(f"{len(records)} of {len(wanted)} stays after {time.monotonic() - begun:.0f} s", file=sys.stderr)
    print(table(rows(records), show))
    return records


if __name__ == "__main__":
    sys.exit(main())
