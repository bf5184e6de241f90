"""Mutants and their tests: ``python -m tests.mutants --of measures --n 60 --seed 1``."""

from __future__ import annotations

import argparse
import difflib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.mutants.mutation import Mutation, mutations
from tests.mutants.rooms import ROOMS, Room

ROOT = Path(__file__).parents[2]
UNCHANGED_LIMIT_s = 900.0  # what only a broken suite reaches
SLACK = 4.0  # a mutant may take so many times as long as the unchanged code, then it counts as noticed: it hangs


@contextmanager
def copy_of_the_tree() -> Iterator[Path]:
    """Copy what the tests need; nothing of the real tree is ever mutated."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as name:
        copy = Path(name) / "tree"
        shutil.copytree(
            ROOT, copy, symlinks=True, ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__", ".*_cache", "dist")
        )
        (copy / ".venv").symlink_to((ROOT / ".venv").resolve())
        yield copy


def run_tests(copy: Path, files: list[str], limit_s: float) -> tuple[str, float]:
    """Run test files until the first failure; return ``passed``, ``failed`` or ``hangs``, and the seconds."""
    begun = time.monotonic()
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    # One hypothesis seed for all: a mutant is judged by the same examples as the unchanged code.
    options = ["-x", "-q", "-m", "not browser", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", *options, *files],
        cwd=copy,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        stdin=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        status = process.wait(limit_s)
    except subprocess.TimeoutExpired:
        return "hangs", time.monotonic() - begun
    finally:
        # Children of a test that was cut off go, too.
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    return ("passed" if status == 0 else "failed"), time.monotonic() - begun


def choose(room: Room, root: Path, number: int, rng: random.Random) -> list[tuple[Path, Mutation]]:
    """Draw mutants, each kind in its turn: there are ten times as many constants as dropped calls."""
    by_kind: dict[str, list[tuple[Path, Mutation]]] = {}
    for path in room.modules(root):
        for mutation in mutations((root / path).read_bytes()):
            by_kind.setdefault(mutation.kind, []).append((path, mutation))
    for kind in sorted(by_kind):
        rng.shuffle(by_kind[kind])
    chosen: list[tuple[Path, Mutation]] = []
    while len(chosen) < number and any(by_kind.values()):
        chosen += [by_kind[kind].pop() for kind in sorted(by_kind) if by_kind[kind]]
    return chosen[:number]


def difference(path: Path, before: bytes, after: bytes) -> str:
    """Return what the mutant changes, with a line around it."""
    lines = difflib.unified_diff(
        before.decode().splitlines(), after.decode().splitlines(), str(path), str(path), lineterm="", n=1
    )
    return "\n".join(list(lines)[2:])


def survey(name: str, number: int, seed: int) -> Counter[str]:
    """Print every survivor of one room; return how many of each outcome."""
    room, rng = ROOMS[name], random.Random(f"{seed} {name}")
    outcomes: Counter[str] = Counter()
    with copy_of_the_tree() as copy:
        outcome, unchanged_s = run_tests(copy, room.test_files(copy, Path("none")), UNCHANGED_LIMIT_s)
        if outcome != "passed":
            sys.exit(f"{name}: the tests do not pass without a mutant; mend them first")
        for path, mutation in choose(room, copy, number, rng):
            before = (copy / path).read_bytes()
            after = mutation.apply(before)
            (copy / path).write_bytes(after)
            try:
                outcome, _ = run_tests(copy, room.test_files(copy, path), SLACK * unchanged_s + 30.0)
            finally:
                (copy / path).write_bytes(before)
            outcomes["survived" if outcome == "passed" else "noticed"] += 1
            print(f"{outcomes.total()} of {number}: {outcome}, {path} ({mutation.kind})", file=sys.stderr, flush=True)
            if outcome == "passed":
                print(f"\nsurvivor in {path} ({mutation.kind})\n{difference(path, before, after)}", flush=True)
        # A machine that broke meanwhile would have "noticed" every mutant.
        if run_tests(copy, room.test_files(copy, Path("none")), SLACK * unchanged_s + 30.0)[0] != "passed":
            sys.exit(f"{name}: the tests do not pass any more without a mutant; these figures do not count")
    print(f"\n{name}: {outcomes['noticed']} of {outcomes.total()} noticed, seed {seed}", flush=True)
    return outcomes


def main() -> None:
    """Survey one room, several, or all."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--of", nargs="+", choices=sorted(ROOMS), default=sorted(ROOMS), metavar="ROOM", help="rooms")
    parser.add_argument("--n", type=int, default=12, help="mutants of each room")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    total: Counter[str] = Counter()
    for name in chosen.of:
        total += survey(name, chosen.n, chosen.seed)
    print(f"all: {total['noticed']} of {total.total()} noticed, seed {chosen.seed}")


if __name__ == "__main__":
    main()
