"""``python -m tests.bench [NAME...]``: run the benchmarks and print what was measured beside each goal."""

from __future__ import annotations

import sys

from tests.bench import load, offline, page, start, streaming, wire, years

ALL = {
    "streaming": streaming.report,
    "offline": offline.report,
    "wire": wire.report,
    "memory": start.memory,
    "start": start.first_page,
    "feed": page.feed,
    "page": page.report,
    "load": load.report,
    "years": years.report,
}


def main() -> int:
    """Run the named benchmarks, all of them without a name."""
    names = sys.argv[1:] or list(ALL)
    for name in names:
        if name not in ALL:
            sys.stderr.write(f"There is no benchmark {name!r}; there are: {', '.join(ALL)}.\n")
            return 2
    for name in names:
        sys.stdout.write(f"{name}\n")
        for line in ALL[name]():
            sys.stdout.write(f"  {line}\n")
            sys.stdout.flush()
    return 0


sys.exit(main())
