"""The demo's invented people on rigs of other shapes: the same loads, borne by other cells."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts
from monitor.analysis import whole_result
from monitor.demo.electronics import Electronics
from monitor.demo.scenario import PROGRAMMES, Scenario
from monitor.demo.truth import HoldTruth
from monitor.demo.virtual_rig import calibrate
from monitor.event_analyser import EventAnalyser
from monitor.measures.picture import Picture
from monitor.measures.session_analysis import AnalysisSettings
from monitor.pipeline import Output
from monitor.records.session_result import SessionResult
from monitor.rig import STANDARD_CHANNELS, Channel, Rig

Array = NDArray[np.float64]

RING_m = 0.25
BAR = STANDARD_CHANNELS[:2]
HOOK = (Channel("hook", "bar"),)
RINGS = (Channel("ring_left", "bar", -RING_m), Channel("ring_right", "bar", RING_m))
FEET_FOUR = STANDARD_CHANNELS[2:]
FEET_TWO = (Channel("foot_l", "platform", -0.25), Channel("foot_r", "platform", 0.25))
FEET_ONE = (Channel("foot", "platform"),)


def _hook(six: Array) -> Array:
    return np.asarray(six[:, :2].sum(axis=1, keepdims=True))


def _rings(six: Array) -> Array:
    total = six[:, 0] + six[:, 1]
    x_m = 0.55 * (six[:, 1] - six[:, 0]) / np.maximum(total, 1.0)
    right = 0.5 * (1 + np.clip(x_m / RING_m, -1, 1))
    return np.column_stack([total * (1 - right), total * right])


def _two_feet(six: Array) -> Array:
    return np.column_stack([six[:, 2] + six[:, 4], six[:, 3] + six[:, 5]])


def _one_foot(six: Array) -> Array:
    return np.asarray(six[:, 2:].sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class Shape:
    """Cells of a rig, and what each of them bears of the six-cell rig's loads."""

    channels: tuple[Channel, ...]
    parts: tuple[Callable[[Array], Array], ...]

    def loads(self, six: Array) -> Array:
        return np.concatenate([part(six) for part in self.parts], axis=1)


SHAPES = {
    "one bar cell": Shape(HOOK, (_hook,)),
    "two rings": Shape(RINGS, (_rings,)),
    "bar of two": Shape(BAR, (lambda six: six[:, :2],)),
    "rings and platform of four": Shape(RINGS + FEET_FOUR, (_rings, lambda six: six[:, 2:])),
    "one bar cell and platform of one": Shape(HOOK + FEET_ONE, (_hook, _one_foot)),
    "bar of two and platform of two": Shape(BAR + FEET_TWO, (lambda six: six[:, :2], _two_feet)),
    "bar of two and platform of four": Shape(BAR + FEET_FOUR, (lambda six: six,)),
    "platform of four alone": Shape(FEET_FOUR, (lambda six: six[:, 2:],)),
    "platform of one alone": Shape(FEET_ONE, (_one_foot,)),
}


@functools.cache
def story(rate_Hz: float) -> tuple[Array, tuple[HoldTruth, ...]]:
    """Return one person's stay as loads (n, 6) of the usual rig, and its holds: one assisted, one free."""
    scenario = Scenario(3, rate_Hz, sessions=1, programmes=PROGRAMMES[:1])
    pieces = []
    while len(piece := scenario.advance()):
        pieces.append(piece)
    return np.concatenate(pieces), tuple(scenario.truth_until(np.inf))


@dataclass(frozen=True)
class Measured:
    """What a rig makes of the story."""

    rig: Rig
    result: SessionResult
    pictures: list[Picture]
    outputs: list[Output]
    truth: tuple[HoldTruth, ...]


@functools.cache
def measured(name: str, rate_Hz: float = 80.0, given_N: float | None = None, live: bool = False) -> Measured:
    """Run a shape's loads through electronics, wire facts and the pipeline."""
    shape = SHAPES[name]
    six, truth = story(rate_Hz)
    rig = Rig(name, shape.channels, nominal_rate_Hz=rate_Hz)
    electronics = Electronics([2000.0] * len(rig.channels), rate_Hz, seed=5)
    counts, missed = electronics.convert(shape.loads(six))
    analyser = EventAnalyser(
        AnalysisSettings(bodyweight_N=given_N), rig, calibrate(electronics, rig, seed=5), live=live
    )
    facts = BoardFacts(0, 1, (0, 1, 0), b"12345678", 1, len(rig.channels), rate_Hz, 0, round(5e5 / rate_Hz), "virtual")
    outputs = [analyser.take(facts)]
    ready_s = np.arange(1, len(counts) + 1) / rate_Hz
    row, lost = 0, 0
    step = max(8, round(rate_Hz / 10))
    for gap in [*np.flatnonzero(missed).tolist(), len(missed)]:
        for first in range(row, gap, step):
            part = slice(first, min(first + step, gap))
            outputs.append(analyser.take(CountBlock(0, ready_s[part], counts[part], lost)))
            lost = 0
        row, lost = gap + 1, lost + 1
    outputs.append(analyser.flush())
    result = whole_result(outputs, analyser.samples, analyser.lost, analyser.spikes, rate_Hz)
    return Measured(rig, result, [p for out in outputs for p in out.pictures], outputs, truth)
