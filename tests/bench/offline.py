"""An hour of record through the pipeline at once, and the reading of a curve file."""

from __future__ import annotations

import time
from collections.abc import Iterator

from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.curve_file import read_curve
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Pipeline
from tests.bench.material import CURVES, RATE_Hz, long_record

SECONDS = 3600.0
TURNS = 5


def report() -> Iterator[str]:
    """Yield how many times as fast as life."""
    rig, t_s, load_N = long_record(SECONDS)
    best = best_cpu = float("inf")
    holds = 0
    for _ in range(TURNS):
        begun, begun_cpu = time.perf_counter(), time.process_time()
        pipeline = Pipeline(rig, RATE_Hz, AnalysisSettings())
        pipeline.push_load(LoadBlock(t_s, load_N))
        out = pipeline.flush()
        best, best_cpu = min(best, time.perf_counter() - begun), min(best_cpu, time.process_time() - begun_cpu)
        holds = sum(len(e.result.holds) for e in out.events if hasattr(e, "result"))
    yield (
        f"pipeline, six channels, one hour with {holds} holds: {SECONDS / best:.0f} times real time by the clock, "
        f"{SECONDS / best_cpu:.0f} by the processor's time (goal 5,000)"
    )
    path = CURVES / "s2_seed11.csv.gz"
    best = float("inf")
    for _ in range(TURNS):
        begun = time.process_time()
        curve = read_curve(path)
        best = min(best, time.process_time() - begun)
    yield f"reading {path.name}: {curve.t_s[-1] / best:.0f} times real time by the processor's time"
