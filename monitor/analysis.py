"""Recorded data to results: load curves and journals."""

from __future__ import annotations

import functools
import operator
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from firmware_bridge.journal import PACKED
from firmware_bridge.sources import ClockFit, JournalSource, Note, SourceEvent
from monitor.errors import BadInput
from monitor.event_analyser import EventAnalyser, RigUnknown
from monitor.holds.stretches import Spans
from monitor.measures.session_analysis import AnalysisSettings, analyse_session, measure_stretches, zeroed_session
from monitor.newtons.calibration import (
    Calibration,
)
from monitor.newtons.curve_file import read_curve
from monitor.newtons.load_block import LoadBlock
from monitor.pipeline import Output, Pipeline, SessionMeasured
from monitor.records.hold_result import HoldResult
from monitor.records.session_result import Quality, SessionResult
from monitor.rig import Rig
from monitor.signals.load_curve import LoadCurve, ZeroCourse, without_zeros
from monitor.signals.session_loads import SessionLoads

JOURNAL_SUFFIX = ".journal"
MOST_JOINED = 500
"""Most blocks of a journal that are taken as one (common practice, no source)."""

WRAP_s = 2**32 / 1e6
"""The board counts microseconds modulo 2**32 (docs/protocol.md)."""


@dataclass(frozen=True)
class Analysis:
    """A file's result, with the load curve that a plot or an export needs."""

    path: Path
    result: SessionResult
    curve: LoadCurve
    clock: ClockFit | None = None


def is_journal(path: str | os.PathLike[str]) -> bool:
    """Say whether a file is read as a journal (by its name, packed or not; everything else is read as a load curve)."""
    return Path(path).name.endswith((JOURNAL_SUFFIX, JOURNAL_SUFFIX + PACKED))


def analyse_file(
    path: str | os.PathLike[str],
    analysis_settings: AnalysisSettings | None = None,
    *,
    rig: Rig | None = None,
    calibration: Calibration | None = None,
) -> Analysis:
    """Analyse a load curve (CSV, CSV.gz) or a journal.

    Raises
    ------
    TellableError
        The file is missing, damaged, no load curve and no journal, or its rig is not known. The file is never changed.
    """
    analysis_settings = analysis_settings or AnalysisSettings()
    if is_journal(path):
        return _analyse_journal(Path(path), analysis_settings, rig, calibration)
    curve = read_curve(path)
    blocks = curve.blocks()
    zeros: list[ZeroCourse] = []
    pipeline = Pipeline(curve.rig, curve.rate_Hz, analysis_settings, analyse=_keeping_zeros(zeros))
    outputs = [pipeline.push_load(block) for block in blocks]
    outputs.append(pipeline.flush())
    result = whole_result(outputs, pipeline.samples, pipeline.lost, pipeline.spikes, curve.rate_Hz)
    t_s = np.concatenate([b.t_s for b in blocks])
    return Analysis(Path(path), result, without_zeros(curve.rig, t_s, curve.load_N, zeros))


def _analyse_journal(
    path: Path, analysis_settings: AnalysisSettings, rig: Rig | None, calibration: Calibration | None
) -> Analysis:
    zeros: list[ZeroCourse] = []
    analyser = EventAnalyser(analysis_settings, rig, calibration, analyse=_keeping_zeros(zeros))
    outputs, curve = _read_journal(path, analyser, zeros)
    steps_s = np.diff(curve.t_s)
    rate_Hz = float(1.0 / np.median(steps_s)) if len(steps_s) > 1 else analyser.rate_Hz
    result = whole_result(outputs, analyser.samples, analyser.lost, analyser.spikes, rate_Hz)
    return Analysis(path, result, curve, analyser.clock)


def read_load_curve(path: str | os.PathLike[str]) -> LoadCurve:
    """Return the load curve of a journal, its zeros taken off, without measuring its holds.

    Raises
    ------
    TellableError
        As ``analyse_file`` for journals.
    """
    zeros: list[ZeroCourse] = []
    analyser = EventAnalyser(AnalysisSettings(), analyse=_keeping_zeros(zeros, measure=False))
    return _read_journal(Path(path), analyser, zeros)[1]


def measure_journal_stretches(
    path: str | os.PathLike[str], analysis_settings: AnalysisSettings, stretches: Sequence[Spans]
) -> list[HoldResult | None]:
    """Measure holds that a person marked out, with the rig and the calibration that the journal begins with.

    Parameters
    ----------
    path : path
        Of a session's journal.
    analysis_settings : AnalysisSettings
    stretches : sequence of Spans
        One for each hold, in seconds of the record as it ran live.

    Returns
    -------
    list of HoldResult or None
        None where nobody was on the bar in one of a hold's spans.

    Raises
    ------
    TellableError
        As ``analyse_file`` for journals.
    """
    results: list[HoldResult | None] = [None] * len(stretches)

    def analyse(loads: SessionLoads, settings: AnalysisSettings, *, spikes: int, **clock: float) -> SessionResult:
        todo = [number for number, result in enumerate(results) if result is None]
        if todo and len(loads):
            live = replace(loads, t_s=loads.t_s + clock_turns_s(stretches[todo[0]][0][0], loads.t_s))
            made = measure_stretches(live, settings, [stretches[number] for number in todo], **clock)
            for number, result in zip(todo, made, strict=True):
                results[number] = result
        return SessionResult(None, None, [], Quality(len(loads), 0, spikes, None))

    _read_journal(Path(path), EventAnalyser(analysis_settings, analyse=analyse), [])
    return results


def clock_turns_s(at_s: float, t_s: NDArray[np.float64]) -> float:
    """Return what to add to times ``t_s`` (n,) read from a journal so that they run as they did when ``at_s`` was live.

    A journal's clock starts within its first turn of 71.6 minutes; live it may have turned before.
    """
    return round((at_s - float(t_s[len(t_s) // 2])) / WRAP_s) * WRAP_s


def _keeping_zeros(zeros: list[ZeroCourse], *, measure: bool = True) -> Callable[..., SessionResult]:
    """Return an ``analyse_session`` that also keeps each session's zeros; without ``measure`` it does nothing else."""

    def analyse(loads: SessionLoads, analysis_settings: AnalysisSettings, **terms: Any) -> SessionResult:
        zeroed = zeroed_session(loads)
        if zeroed is not None:
            zeros.append(ZeroCourse(loads.t_s, zeroed.zeros.correction_N))
        if not measure:
            return SessionResult(None, None, [], Quality(len(loads), 0, 0, None))
        return analyse_session(loads, analysis_settings, zeroed=zeroed, **terms)

    return analyse


def _read_journal(path: Path, analyser: EventAnalyser, zeros: list[ZeroCourse]) -> tuple[list[Output], LoadCurve]:
    """Feed a journal to an analyser; return what came of it, and the load curve of the last clock segment.

    Times of different clock segments cannot be compared, so only the last one is drawn and exported.
    """
    outputs: list[Output] = []
    loads: list[LoadBlock] = []
    for event in joined(JournalSource(path).events()):
        if isinstance(event, CountBlock) and loads and loads[-1].segment != event.segment:
            outputs.append(analyser.flush(interrupted=True))
            loads.clear()
            zeros.clear()
        outputs.append(analyser.take(event))
        loads += outputs[-1].loads
    outputs.append(analyser.flush())
    if analyser.rig is None or not loads:
        raise BadInput(
            what=f"{path} holds no readings.",
            means="There is nothing to analyse; the file is unchanged.",
            do="Give a journal in which the board was sampling.",
        )
    t_s, load_N = (np.concatenate(columns) for columns in zip(*((b.t_s, b.load_N) for b in loads), strict=True))
    return outputs, without_zeros(analyser.rig, t_s, load_N, zeros)


def joined(events: Iterable[SourceEvent]) -> Iterator[SourceEvent]:
    """Yield events with consecutive count blocks merged: a frame holds a few readings, and each block costs.

    Results do not depend on it (decision 1), and every other event keeps its place between the readings.
    """
    blocks: list[CountBlock] = []
    for event in events:
        follows = (
            isinstance(event, CountBlock)
            and event.lost_before == 0
            and bool(blocks)
            and event.segment == blocks[0].segment
            and event.counts.shape[1] == blocks[0].counts.shape[1]
        )
        if blocks and not (follows and len(blocks) < MOST_JOINED):
            yield _merged(blocks)
            blocks = []
        if isinstance(event, CountBlock):
            blocks.append(event)
        else:
            yield event
    if blocks:
        yield _merged(blocks)


def _merged(blocks: list[CountBlock]) -> CountBlock:
    """Merge consecutive blocks."""
    if len(blocks) == 1:
        return blocks[0]
    return replace(
        blocks[0],
        board_s=np.concatenate([b.board_s for b in blocks]),
        counts=np.concatenate([b.counts for b in blocks]),
        status=functools.reduce(operator.or_, (b.status for b in blocks)),
        damaged=sum(b.damaged for b in blocks),
    )


def whole_result(outputs: list[Output], samples: int, lost: int, spikes: int, rate_Hz: float | None) -> SessionResult:
    """Combine the final results of all sessions of one record.

    Bodyweight is that of the session with the most time on the bar, flags are those of the sessions with holds (of the
    longest where nobody hung); ``several_sessions`` says that there were others, ``interrupted`` that a gap or a
    restart of the board cut one off.
    """
    last = [e for out in outputs for e in out.events if isinstance(e, SessionMeasured) and e.final]
    final = [e.result for e in last]
    quality = Quality(samples, lost, spikes, rate_Hz)
    if not final:
        return SessionResult(None, None, [], quality, ["nobody_on_the_rig"])

    def hanging_s(result: SessionResult) -> tuple[float, int]:
        return sum(h.duration_s for h in result.holds), result.quality.samples

    main = max(final, key=hanging_s)
    holds: list[HoldResult] = [h for r in final for h in r.holds]
    # Somebody who only stepped over the rig could not be weighed; that does not concern those who hung.
    flags = list(dict.fromkeys(f for r in final if r.holds or r is main for f in r.flags))
    if any(e.interrupted for e in last):
        flags.append("interrupted")
    if len(final) > 1:
        flags.append("several_sessions")
    zeros = main.quality
    quality = replace(quality, zero_bar_N=zeros.zero_bar_N, zero_feet_N=zeros.zero_feet_N)
    return SessionResult(main.bodyweight_N, main.bodyweight_u_N, holds, quality, flags)


def rig_of_journal(path: str | os.PathLike[str]) -> tuple[Rig, Calibration]:
    """Return the rig description and the calibration in force that a journal begins with.

    Raises
    ------
    RigUnknown
        The journal has no such note.
    """
    analyser = EventAnalyser(AnalysisSettings())
    for event in JournalSource(path).events():
        if isinstance(event, Note):
            analyser.take(event)
        if analyser.rig is not None and analyser.calibration is not None:
            return analyser.rig, analyser.calibration
    raise RigUnknown(
        what=f"The journal {path} does not say of which rig it is.",
        means="Counts cannot be turned into newtons; nothing was started.",
        do="Give the rig description and its calibration with --rig and --calibration.",
    )
