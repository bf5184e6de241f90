"""``python -m tests.fuzz [--minutes N] [--only NAME ...] [--seed S]``: all inputs one after the other, a line for each.

With atheris (``pip install "hang-monitor[fuzz]"``, where it has a wheel) files and wire are fuzzed with coverage as
the guide, else with hypothesis; the REST interface with schemathesis, the feed with frames of all sorts. What breaks
something is left in ``--keep``; it then belongs into ``tests/fuzz/regressions/NAME/``, where every run of the tests
tries it again.
"""

from __future__ import annotations

import argparse
import importlib.util
import logging
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.fuzz.inputs import INPUTS
from tests.fuzz.mutation import harmed

PAGES = ("rest", "feed")


def main() -> int:
    """Fuzz; exit status 1 when anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="for all together")
    parser.add_argument("--only", nargs="+", choices=[*INPUTS, *PAGES], default=[*INPUTS, *PAGES])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None, help="folder for what was found")
    options = parser.parse_args()
    logging.disable(logging.CRITICAL)
    guided = importlib.util.find_spec("atheris") is not None
    keep = options.keep or Path(tempfile.mkdtemp(prefix="fuzz-"))
    share_s = 60.0 * options.minutes / len(options.only)
    bad = 0
    for name in options.only:
        begun_s = time.monotonic()
        if name == "rest":
            cases, wrong = _rest(share_s, options.seed)
        elif name == "feed":
            cases, wrong = _feed(share_s, options.seed)
        elif guided:
            cases, wrong = _guided(name, share_s, keep / name)
        else:
            cases, wrong = _drawn(name, share_s, options.seed, keep / name)
        bad += len(wrong)
        how = {"rest": "schemathesis", "feed": "frames"}.get(name, "atheris" if guided else "hypothesis")
        sys.stdout.write(f"{name}: {cases} cases in {time.monotonic() - begun_s:.0f} s by {how}, {len(wrong)} faults\n")
        for line in wrong:
            sys.stdout.write(f"  {line}\n")
        sys.stdout.flush()
    if bad:
        sys.stdout.write(f"what was found lies in {keep}\n")
    return 1 if bad else 0


def _guided(name: str, seconds: float, folder: Path) -> tuple[int, list[str]]:
    """Fuzz with coverage as the guide, in a process of its own; go on after a find."""
    ends_s, cases, wrong = time.monotonic() + seconds, 0, list[str]()
    while (left_s := round(ends_s - time.monotonic())) > 2:
        before = set(folder.glob("*-*")) if folder.exists() else set()
        done = subprocess.run(
            [sys.executable, "-m", "tests.fuzz.guided", name, str(folder), str(left_s)], capture_output=True, text=True
        )
        counted = re.search(r"stat::number_of_executed_units: *(\d+)", done.stderr)
        cases += int(counted.group(1)) if counted else 0
        new = sorted(set(folder.glob("*-*")) - before)
        if done.returncode == 0:
            break
        said = [
            line for line in done.stderr.splitlines() if re.match(r"[\w.]*(Error|Exception|Warning)\b|==\d+==", line)
        ]
        last = " ".join(done.stderr.split())[-300:]
        wrong.append(f"{[path.name for path in new]}: {said[:2] or last}")
        if len(wrong) >= 5:
            break
    return cases, wrong


def _drawn(name: str, seconds: float, number: int, folder: Path) -> tuple[int, list[str]]:
    """Fuzz with hypothesis, some hundred cases at a time."""
    one, ends_s, counted, wrong = INPUTS[name], time.monotonic() + seconds, [0], list[str]()
    while time.monotonic() < ends_s and len(wrong) < 5:
        number += 1
        last = [b""]

        @seed(number)
        @settings(
            max_examples=300, deadline=None, database=None, phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(data=harmed(one.seeds()))
        def tried(data: bytes, last: list[bytes] = last) -> None:
            counted[0] += 1
            last[0] = data
            one.take(data)

        try:
            tried()
        except Exception as error:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / f"crash-{number}").write_bytes(last[0])
            wrong.append(f"crash-{number}: {error!r}")
    return counted[0], wrong


def _rest(seconds: float, number: int) -> tuple[int, list[str]]:
    from tests.fuzz.rest import Findings, operations, try_operation
    from tests.fuzz.whole_page import whole_page

    result, ends_s = Findings(), time.monotonic() + seconds
    while time.monotonic() < ends_s and len(result.wrong) < 20:
        # A page of its own each time: what was kept in the last round must not decide the next.
        with tempfile.TemporaryDirectory() as folder, whole_page(Path(folder)) as (app, names):
            for operation in operations(app):
                number += 1
                try_operation(operation, 20, number, result, names)
                if time.monotonic() > ends_s:
                    break
    return result.requests, result.wrong


def _feed(seconds: float, number: int) -> tuple[int, list[str]]:
    from tests.fuzz.feed import Screenful

    with tempfile.TemporaryDirectory() as folder, Screenful(Path(folder)) as screenful:
        ends_s, cases, wrong = time.monotonic() + seconds, 0, list[str]()
        while time.monotonic() < ends_s and len(wrong) < 5:
            number += 1
            cases += 1
            wrong += screenful.try_one(random.Random(number))
    return cases, wrong


if __name__ == "__main__":
    sys.exit(main())
