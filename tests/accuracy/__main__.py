"""Reruns the accuracy check: ``python -m tests.accuracy``."""

from __future__ import annotations

import argparse
import sys

import numpy as np

from tests.accuracy.limits import LIMITS, figure
from tests.accuracy.runs import Record, measured_all, tasks


def table(records: list[Record], show: int) -> str:
    """Return one line for each measure: how many, median, 95th percentile, largest, floor, aim."""
    errors: dict[str, list[tuple[float, str]]] = {}
    for record in records:
        for one in record.found:
            errors.setdefault(one.measure, []).append((one.error, f"{record.name}:{record.seed}"))
    lines = [
        f"{'measure':30s} {'n':>6s} {'median':>9s} {'95 %':>9s} {'largest':>9s} {'figure':>9s} {'floor':>8s} {'aim':>8s}"
    ]
    for name in [*LIMITS, *(m for m in errors if m not in LIMITS)]:
        if name not in errors:
            continue
        values = np.array([e for e, _ in errors[name]])
        limit = LIMITS.get(name)
        line = f"{name:30s} {len(values):6d} {np.median(values):9.3f} {np.quantile(values, 0.95, method='higher'):9.3f} {values.max():9.3f}"
        if limit is not None:
            value = figure(limit, values)
            verdict = "aim" if value <= limit.aim else "floor" if value <= limit.floor else "SHORT"
            line += f" {value:9.3f} {limit.floor:8g} {limit.aim:8g} {verdict}"
            if show and value > limit.aim:
                worst = sorted(errors[name], reverse=True)[:show]
                line += "  " + ", ".join(f"{place} {error:.3g}" for error, place in worst if error > 0)
        lines.append(line)
    return "\n".join(lines)


def main() -> int:
    """Run the check."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("--bodies", type=int, default=40, help="how many people are drawn")
    parser.add_argument("--first", type=int, default=0, help="seed of the first of them")
    parser.add_argument("--jobs", type=int, default=2, help="processes at a time")
    parser.add_argument("--only", nargs="*", default=(), help="scenarios, played by every body")
    parser.add_argument("--show", type=int, default=0, help="name the worst stays of each measure that misses its aim")
    options = parser.parse_args()
    wanted = tasks(options.bodies, options.first, options.only)
    print(f"{len(wanted)} stays of {options.bodies} people", file=sys.stderr)
    records = list(measured_all(wanted, options.jobs))
    print(table(records, options.show))
    return 0


if __name__ == "__main__":
    sys.exit(main())
