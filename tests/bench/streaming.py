"""The streaming pipeline at blocks of 8 samples, beside the bare ``sosfilt`` calls that it contains."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
from scipy.signal import butter, sosfilt

from monitor.measures.live.view import SMOOTH_Hz
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Pipeline
from tests.bench.material import RATE_Hz, cut, long_record

BLOCK_ROWS = 8
SECONDS = 300.0
TURNS = 5


def _bare(blocks: list[LoadBlock]) -> None:
    """Three filtered signals a block (bar, feet, lateral moment), state carried: what the live view contains."""
    sos = butter(2, SMOOTH_Hz, fs=RATE_Hz, output="sos")
    state = np.zeros((1, 2, 3))
    for block in blocks:
        _, state = sosfilt(sos, block.load_N[:, :3], axis=0, zi=state)


def report() -> Iterator[str]:
    """Yield the ratios; each turn measures all three one after the other, the best turn of each counts."""
    rig, t_s, load_N = long_record(SECONDS)
    blocks = cut(t_s, load_N, BLOCK_ROWS)

    def piped(live: bool) -> None:
        pipeline = Pipeline(rig, RATE_Hz, AnalysisSettings(), live=live)
        for block in blocks:
            pipeline.push_load(block)
        pipeline.flush()

    runs: dict[str, Callable[[], None]] = {
        "bare sosfilt": lambda: _bare(blocks),
        "pipeline": lambda: piped(False),
        "pipeline with live view": lambda: piped(True),
    }
    best = dict.fromkeys(runs, float("inf"))
    for _ in range(TURNS):
        for name, run in runs.items():
            # The processor's time: what other programs do meanwhile must not count.
            begun = time.process_time()
            run()
            best[name] = min(best[name], time.process_time() - begun)
    base = best["bare sosfilt"]
    for name, seconds in best.items():
        yield (
            f"{name}: {1e6 * seconds / len(blocks):.0f} us a block of {BLOCK_ROWS}, {seconds / base:.1f} times the "
            f"bare calls, {100 * seconds / SECONDS:.2f} % of one processor at {RATE_Hz:.0f} per second"
        )
    yield "goal: at most 3 times the bare calls"
