"""Simulated stays, each computed once: a simulation is kept until the code that makes it changes."""

from __future__ import annotations

import functools
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from monitor.holds.edges import LEAST_FRACTION
from tests.accuracy.comparison import Deviation, compare
from tests.accuracy.live import compare_live
from tests.physics.engine import simulate
from tests.physics.scenarios import PLAYED_LIKE, SHARES, make_script, trouble_of
from tests.physics.truth import TOUCH_LEAST_N, Truth, crossings, truth_of
from tests.physics.wiring import RATE_HZ, Array, measure, readings_N

PHYSICS = Path(__file__).parents[1] / "physics"
SMOOTHED_ROWS, HUNG_LEAST_s = 40, 2.0
"""A mean over half a second above the monitor's least level, for two seconds, is no tug."""

LIVE = ("stands_hangs", "assisted_growing", "jumps_up", "never_hangs", "hops_on_one_hand")
"""Scenarios whose live view is judged too."""
STALE_AFTER_s = 24 * 3600.0
MAKES_THE_COURSE = ("people.py", "body.py", "script.py", "engine.py", "scenarios.py", "truth.py", "wiring.py")


@functools.cache
def _code_hash() -> str:
    digest = hashlib.sha256()
    for name in MAKES_THE_COURSE:
        digest.update((PHYSICS / name).read_bytes())
    return digest.hexdigest()[:16]


def _folder() -> Path:
    folder = Path(tempfile.gettempdir()) / f"hang-monitor-accuracy-{os.getuid()}" / _code_hash()
    if not folder.exists():
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        for other in folder.parent.iterdir():
            # What older code left behind is of no use to anybody.
            if other != folder and time.time() - other.stat().st_mtime > STALE_AFTER_s:
                shutil.rmtree(other, ignore_errors=True)
    return folder


def session(name: str, seed: int) -> tuple[Array, Truth]:
    """Return the noise-free readings (n, 6) of a session and its truth, and when platform and bar bore a load."""
    if name in PLAYED_LIKE:
        means, truth = session(PLAYED_LIKE[name], seed)
        return means, truth | {"scenario": name, "tags": sorted(make_script(name, seed).tags)}
    place = _folder() / f"{name}-{seed}.npz"
    if place.exists():
        with np.load(place) as stored:
            return stored["means_N"], _with_loads(json.loads(str(stored["truth"])), stored["means_N"])
    script = make_script(name, seed)
    course = simulate(script)
    means, truth = readings_N(course.load_N), truth_of(script, course)
    unfinished = place.with_suffix(f".{os.getpid()}.npz")
    np.savez(unfinished, means_N=means, truth=json.dumps(truth))
    unfinished.replace(place)
    return means, _with_loads(truth, means)


def _with_loads(truth: Truth, means_N: Array) -> Truth:
    """Return the truth with the spans in which feet bore on the platform, and those in which the bar carried a hang.

    Neither need be scripted: a body may sag onto the platform, and who leans on the bar may hang from it by what the
    monitor calls a hang.
    """
    t_s = (np.arange(len(means_N)) + 0.5) / RATE_HZ
    bar_N, feet_N = means_N[:, :2].sum(axis=1), means_N[:, 2:].sum(axis=1)
    smooth_N = np.convolve(bar_N, np.ones(SMOOTHED_ROWS) / SMOOTHED_ROWS, "same")
    hung = crossings(t_s, smooth_N, LEAST_FRACTION * truth["bodyweight_N"])
    return truth | {
        "platform_loaded": crossings(t_s, feet_N, TOUCH_LEAST_N),
        "bar_hung": [(a, b) for a, b in hung if b - a >= HUNG_LEAST_s],
    }


@dataclass(frozen=True)
class Record:
    """One session measured: its truth, its result and the errors found."""

    name: str
    seed: int
    truth: Truth
    result: dict[str, Any]
    deviations: list[Deviation]


def measured(task: tuple[str, int]) -> Record:
    """Return a session's result, from raw counts on, and its errors."""
    name, seed = task
    means, truth = session(name, seed)
    live = name in LIVE
    result, outputs = measure(means, seed, trouble_of(name, seed), live=live)
    deviations = compare(truth, result)
    if live:
        deviations += compare_live(truth, [picture for out in outputs for picture in out.pictures])
    return Record(name, seed, truth, result, deviations)


def tasks(bodies: int, first: int = 0, only: Iterable[str] = ()) -> list[tuple[str, int]]:
    """Return which body plays which scenario: every body plays its share of all of them."""
    chosen = list(only)
    everything = []
    for number, (name, every) in enumerate(SHARES.items()):
        if chosen and name not in chosen:
            continue
        everything += [(name, seed) for seed in range(first, first + bodies) if chosen or (seed + number) % every == 0]
    return sorted(everything, key=lambda task: (task[1], task[0]))


def measured_all(wanted: list[tuple[str, int]], jobs: int) -> Iterator[Record]:
    """Yield the records of all tasks, in order."""
    if jobs <= 1:
        yield from map(measured, wanted)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(measured, wanted)
