"""Do 95 % intervals hold the truth? A Monte Carlo over virtual rigs: ``python -m tests.coverage_of_intervals``.

In the manner of JCGM 101:2008: everything that is uncertain is drawn at random as it is stated (spans with what they
have in common, zeros, their wandering, noise, the board's clock, where in the sample interval an edge falls), with
creep, lost rows and wild readings on top of it. Invented people hang from the rig, and the whole pipeline measures them
from raw counts. Truth is the noise-free load.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firmware_bridge.counts import CountBlock
from monitor.demo.body import Body
from monitor.demo.electronics import Electronics, Faults
from monitor.demo.people import INVENTED_PEOPLE, Person
from monitor.demo.script import Script
from monitor.demo.truth import HoldTruth, Witness
from monitor.demo.virtual_rig import demo_rig
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.pipeline import Pipeline, SessionMeasured
from monitor.records.session_result import SessionResult
from monitor.signals.zeros import CREEP_REL, WANDER_N, wandered_N2
from tests.accuracy.confidence import share_bounds

Array = NDArray[np.float64]

RATE_Hz = 80.0
STEPS = 12
"""Internal steps of the body in one sample interval."""

CREEP_TIME_S = 8.0
"""How fast the quick part of creep comes (common practice, no source)."""

U_COMMON, U_OWN = 3e-4, 4e-4
"""Relative standard uncertainties of spans: of the plates, shared by all cells, and each cell's own."""

U_ZERO_N = 0.3
U_CLOCK = (5e-5, 2e-6)
"""Of the board's clock: a crystal nobody has compared, and one that the host's clock was fitted to."""

LEVEL = 0.95
STUDENT_FREE = 1.96
"""95 % of a normal distribution lie within this many standard deviations."""

ZEROED = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True)
class Played:
    """A session as it truly was: loads (n, 6) at ``STEPS`` times the sample rate, and its holds."""

    load_N: Array
    holds: tuple[HoldTruth, ...]
    weight_N: float


@dataclass(frozen=True)
class Miss:
    """One number against the truth: ``error`` over ``u`` is what is counted."""

    name: str
    error: float
    u: float


def play(seed: int) -> Played:
    """Return a drawn person's stay: standing, a hang with the feet's help, standing, a hang without."""
    rng = np.random.default_rng([seed, 0xC0])
    like = INVENTED_PEOPLE[seed % len(INVENTED_PEOPLE)]
    person: Person = replace(like, mass_kg=rng.uniform(48, 105), left_share=rng.uniform(0.46, 0.54))
    script = Script(person, rng)
    script.wait(rng.uniform(3, 9))
    script.step_on()
    script.stand(rng.uniform(4, 9))
    script.reach_up()
    help_share = rng.uniform(0.04, 0.35)
    script.hang_assisted(help_share)
    script.wait(rng.uniform(1, 3))
    script.shift_feet(help_share * rng.uniform(0.6, 1.3), rng.uniform(6, 16))
    script.let_go_from_assisted()
    script.stand(rng.uniform(4, 8))
    script.reach_up()
    script.hang()
    script.wait(rng.uniform(6, 25))
    script.let_go()
    script.stand(rng.uniform(3, 5))
    script.step_off()
    script.wait(6.0)
    body, witness = Body(person, script.plan, rng), Witness(person.name, person.weight_N, script.events)
    step_s, chunk = 1 / (RATE_Hz * STEPS), round(RATE_Hz) * STEPS
    cells: list[Array] = []
    holds: list[HoldTruth] = []
    for _ in range(int(np.ceil(script.now_s))):
        loads = body.advance(chunk, step_s, 12)
        holds += witness.push(loads.t_s, loads.bar_N, loads.platform_N, loads.swing_rad)
        cells.append(loads.cells_N)
    load_N = np.concatenate(cells)
    t_s = (np.arange(len(load_N)) + 0.5) * step_s
    return Played(load_N, tuple(_sharp(hold, t_s, load_N) for hold in holds), person.weight_N)


def _sharp(hold: HoldTruth, t_s: Array, load_N: Array) -> HoldTruth:
    """Return the hold with means that end at its edges and not at the steps next to them."""
    edges = [hold.onset_s, hold.release_s]
    inside = (t_s > edges[0]) & (t_s < edges[1])
    times = np.concatenate([edges[:1], t_s[inside], edges[1:]])
    bar, feet = (
        float(np.trapezoid(np.interp(times, t_s, part), times)) / (hold.duration_s * hold.bodyweight_N)
        for part in (load_N[:, :2].sum(axis=1), load_N[:, 2:].sum(axis=1))
    )
    return replace(hold, beta_mean=bar, alpha_mean=feet)


def calibrated(electronics: Electronics, rng: np.random.Generator) -> Calibration:
    """Return a calibration that is wrong as it says: common and own errors of the spans, errors of the zeros."""
    n = len(electronics.counts_per_N)
    off = U_COMMON * rng.standard_normal() + U_OWN * rng.standard_normal(n)
    channels = tuple(
        ChannelCalibration(
            name,
            zero_counts=float(zero + U_ZERO_N * rng.standard_normal() * gain),
            N_per_count=float((1 + wrong) / gain),
            u_zero_counts=float(U_ZERO_N * gain),
            u_rel_span=float(np.hypot(U_COMMON, U_OWN)),
            zero_at=ZEROED.isoformat(),
        )
        for name, zero, gain, wrong in zip(
            demo_rig().names, electronics.zero_counts, electronics.counts_per_N, off, strict=True
        )
    )
    covariance = U_COMMON**2 + U_OWN**2 * np.eye(n)
    return Calibration(channels, "drawn", tuple(tuple(row) for row in covariance.tolist()))


def wandered_N(rows: int, cells: int, age_s: float, rng: np.random.Generator) -> Array:
    """Return (rows, cells) how far zeros have wandered since they were taken ``age_s`` before the first row."""
    knots = np.concatenate([[-age_s - 1e-3], np.arange(0.0, rows / RATE_Hz + 1.0)])
    covariance = WANDER_N**2 - wandered_N2(knots[:, None] - knots[None, :]) / 2
    # A little more on the diagonal keeps the factor real: a millinewton.
    drawn = np.linalg.cholesky(covariance + 1e-6 * np.eye(len(knots))) @ rng.standard_normal((len(knots), cells))
    t_s = np.arange(rows) / RATE_Hz
    return np.column_stack([np.interp(t_s, knots[1:], drawn[1:, c] - drawn[0, c]) for c in range(cells)])


def crept_N(load_N: Array, rng: np.random.Generator) -> Array:
    """Return (rows, cells) what cells of one make read beside their load (rows, cells): creep of either sign."""
    share = CREEP_REL * rng.uniform(-1, 1)
    decay = np.exp(-1 / (RATE_Hz * CREEP_TIME_S))
    return np.asarray(share * lfilter([1 - decay], [1, -decay], load_N, axis=0))


def measured(played: Played, seed: int) -> SessionResult:
    """Return what a drawn rig makes of a session."""
    rng = np.random.default_rng([seed, 0xC1])
    rig = demo_rig(RATE_Hz)
    # The zeros wander by the process that is stated, not by the electronics' own sine.
    faults = Faults(drift_kgf_per_min=0.0)
    electronics = Electronics([c.rated_N or 0.0 for c in rig.channels], RATE_Hz, seed=seed, faults=faults)
    calibration = calibrated(electronics, rng)
    age_s = float(rng.uniform(0, 3600))
    begin = int(rng.integers(STEPS))
    rows = (len(played.load_N) - begin) // STEPS
    means_N = played.load_N[begin : begin + rows * STEPS].reshape(rows, STEPS, -1).mean(axis=1)
    means_N = means_N + wandered_N(rows, means_N.shape[1], age_s, rng) + crept_N(means_N, rng)
    counts, missed = electronics.convert(means_N)
    u_clock = float(rng.choice(U_CLOCK))
    rate = 1.0 + u_clock * rng.standard_normal()
    # The board stamps by its own clock, in whole microseconds.
    ready_s = np.round((begin / STEPS + np.arange(1, rows + 1)) / RATE_Hz / rate, 6)
    pipeline = Pipeline(rig, RATE_Hz, AnalysisSettings(), calibration=calibration, delay_s=0.5 / RATE_Hz)
    pipeline.clock(1.0, u_clock, round((ZEROED.timestamp() + age_s) * 1e9))
    events = []
    for block in _blocks(ready_s, counts, missed):
        events += pipeline.push(block).events
    events += pipeline.flush().events
    (result,) = (e.result for e in events if isinstance(e, SessionMeasured) and e.final)
    return result


def _blocks(ready_s: Array, counts: NDArray[np.int32], missed: NDArray[np.bool_]) -> Iterator[CountBlock]:
    """Yield the conversions that arrived, cut where some were missed."""
    row, lost = 0, 0
    for gap in [*np.flatnonzero(missed).tolist(), len(missed)]:
        if gap > row:
            yield CountBlock(0, ready_s[row:gap], counts[row:gap], lost)
            lost = 0
        row, lost = gap + 1, lost + 1


def misses(played: Played, result: SessionResult) -> list[Miss]:
    """Return every number of a session against its truth."""
    assert result.bodyweight_N is not None
    assert result.bodyweight_u_N is not None
    outcome = [Miss("bodyweight", result.bodyweight_N - played.weight_N, result.bodyweight_u_N)]
    for truth in played.holds:
        near = [h for h in result.holds if abs(h.onset_s - truth.onset_s) < 0.5]
        assert len(near) == 1, "a hold was not found, or twice"
        hold = near[0]
        kind = "with help" if truth.alpha_mean > 0.02 else "free"
        for name, value, u, true in (
            ("beta", hold.beta_mean, hold.beta_u, truth.beta_mean),
            ("alpha", hold.alpha_mean, hold.alpha_u, truth.alpha_mean),
            ("duration", hold.duration_s, hold.duration_u_s, truth.duration_s),
        ):
            assert value is not None
            assert u is not None
            outcome.append(Miss(f"{name}, {kind}", value - true, u))
    return outcome


def runs(people: range, rigs: int) -> list[Miss]:
    """Return the numbers of ``rigs`` drawn rigs for each of some drawn people."""
    outcome: list[Miss] = []
    for person in people:
        played = play(person)
        for rig in range(rigs):
            outcome += misses(played, measured(played, 1000 * person + rig))
    return outcome


@dataclass(frozen=True)
class Row:
    """How often an interval held the truth; ``ratio`` is the rms of error / u, ``u`` the median of u."""

    name: str
    inside: int
    of: int
    ratio: float
    u: float

    @property
    def share(self) -> float:
        """Return the coverage."""
        return self.inside / self.of


def table(outcome: list[Miss]) -> list[Row]:
    """Return the coverage of each kind of number."""
    by_name: dict[str, list[Miss]] = defaultdict(list)
    for miss in outcome:
        by_name[miss.name].append(miss)
    rows = []
    for name, group in sorted(by_name.items()):
        ratio = np.array([m.error / m.u for m in group])
        inside = int((np.abs(ratio) <= STUDENT_FREE).sum())
        rows.append(
            Row(name, inside, len(group), float(np.sqrt(np.mean(ratio**2))), float(np.median([m.u for m in group])))
        )
    return rows


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.coverage_of_intervals", description=__doc__)
    parser.add_argument("--people", type=int, default=200, help="how many people are drawn")
    parser.add_argument("--rigs", type=int, default=10, help="how many rigs each of them is measured on")
    parser.add_argument("--jobs", type=int, default=2, help="processes at a time")
    options = parser.parse_args()
    begun = time.monotonic()
    pieces = [range(first, min(first + 5, options.people)) for first in range(0, options.people, 5)]
    outcome: list[Miss] = []
    with ProcessPoolExecutor(options.jobs) as pool:
        for number, part in enumerate(pool.map(runs, pieces, [options.rigs] * len(pieces)), start=1):
            outcome += part
            print(f"{number} of {len(pieces)} after {time.monotonic() - begun:.0f} s", file=sys.stderr)
    print("| number | within its 95 % interval | of runs | bounds (95 %) | rms of error / u | median u |")
    print("| --- | --- | --- | --- | --- | --- |")
    for row in table(outcome):
        low, high = share_bounds(row.inside, row.of)
        print(f"| {row.name} | {row.share:.1%} | {row.of} | {low:.1%} to {high:.1%} | {row.ratio:.2f} | {row.u:.2g} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
