"""Source events to the pipeline, live and recorded alike: rig, calibration, clock, then counts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts, ClockFit, Counters, Note, SourceEvent
from monitor.errors import BadInput, MonitorError
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import Calibration, calibration_from_dict, calibration_to_dict, in_order
from monitor.newtons.curve_file import RATE_SLACK
from monitor.pipeline import Output, Pipeline, SessionBegan, SessionMeasured
from monitor.records.session_result import SessionResult
from monitor.rig import HIGHEST_RATE_Hz, LOWEST_RATE_Hz, Rig, check_channels, rig_from_dict, rig_to_dict

SAME_RATE = 0.2
"""A board whose rate differs by more than this share from the one in use makes a new pipeline (common practice, no
source)."""


class RigUnknown(BadInput):
    """Counts without a rig description and a calibration."""

    code = "rig-unknown"


class RateNotUsable(MonitorError):
    """The board says that it reads at a rate that no rig of this program may have."""

    code = "rate-not-usable"


def rig_note(rig: Rig, calibration: Calibration, **more: Any) -> dict[str, object]:
    """Return the note with which a session's journal begins: what is needed to read its counts for ever."""
    return {"rig": rig_to_dict(rig), "calibration": calibration_to_dict(calibration), **more}


class EventAnalyser:
    """Feeds source events to the pipeline, which it makes once it knows the board's rate.

    Parameters
    ----------
    analysis_settings : AnalysisSettings
    rig, calibration : Rig, Calibration or None
        None: taken from the journal's own note.
    live, analyse
        As for ``Pipeline``.
    """

    def __init__(
        self,
        analysis_settings: AnalysisSettings,
        rig: Rig | None = None,
        calibration: Calibration | None = None,
        *,
        live: bool = False,
        analyse: Callable[..., SessionResult] | None = None,
    ) -> None:
        self.rig, self.calibration = rig, calibration
        self._analyse = analyse
        self._rig_is_given = rig is not None
        self._analysis_settings = analysis_settings
        self._live = live
        self._facts: BoardFacts | None = None
        self._pipeline: Pipeline | None = None
        self._sessions_before = 0
        self.clock: ClockFit | None = None
        self.counters = Counters()
        self.rate_Hz = 0.0

    def renewed(self, calibration: Calibration | None) -> EventAnalyser:
        """Return an analyser that begins anew at this moment of the same source, with another calibration."""
        new = EventAnalyser(self._analysis_settings, self.rig, calibration, live=self._live, analyse=self._analyse)
        new._facts, new.clock, new.counters = self._facts, self.clock, self.counters
        new._sessions_before = self._sessions_before + (self._pipeline.sessions if self._pipeline is not None else 0)
        return new

    @property
    def analysis_settings(self) -> AnalysisSettings:
        """What the caller set; counts from the next block on."""
        return self._analysis_settings

    @analysis_settings.setter
    def analysis_settings(self, analysis_settings: AnalysisSettings) -> None:
        self._analysis_settings = analysis_settings
        if self._pipeline is not None:
            self._pipeline.analysis_settings = analysis_settings

    def take(self, event: SourceEvent) -> Output:
        """Take one event of a source.

        Raises
        ------
        RigUnknown
            Counts came before any rig description.
        WrongBoard, BadCalibration
            The channels do not fit.
        """
        if isinstance(event, CountBlock):
            return self._take_counts(event)
        if isinstance(event, BoardFacts):
            return self._take_facts(event)
        if isinstance(event, ClockFit):
            self.clock = event
            if self._pipeline is not None:
                self._pipeline.clock(event.rate, event.u_rate, event.utc_ns_at_zero)
        elif isinstance(event, Note):
            self._take_note(event)
        elif isinstance(event, Counters):
            self.counters = event
        return Output()

    def _take_note(self, note: Note) -> None:
        if self._rig_is_given or "rig" not in note.content or "calibration" not in note.content:
            return
        self.rig = rig_from_dict(note.content["rig"])
        self.calibration = in_order(calibration_from_dict(note.content["calibration"]), self.rig.names)

    def _take_facts(self, facts: BoardFacts) -> Output:
        self._facts = facts
        if self._pipeline is not None and facts.rate_Hz and abs(facts.rate_Hz / self.rate_Hz - 1) > SAME_RATE:
            out = self._numbered(self._pipeline.flush(interrupted=True), self._sessions_before)
            self._sessions_before += self._pipeline.sessions
            self._pipeline = None
            return out
        return Output()

    def _take_counts(self, block: CountBlock) -> Output:
        if self._pipeline is None:
            self._pipeline = self._new_pipeline(block.counts.shape[1])
        return self._numbered(self._pipeline.push(block), self._sessions_before)

    def _numbered(self, out: Output, before: int) -> Output:
        """Return the output with its sessions numbered through all pipelines of this analyser."""
        if before:
            out.events = [
                SessionBegan(e.session + before, e.at_s, e.from_s)
                if isinstance(e, SessionBegan)
                else SessionMeasured(e.session + before, e.result, e.final, e.interrupted)
                for e in out.events
            ]
        return out

    def _new_pipeline(self, channels: int) -> Pipeline:
        rig, calibration, facts = self.rig, self.calibration, self._facts
        if rig is None or calibration is None:
            raise RigUnknown(
                what="The journal holds counts but does not say of which rig.",
                means="Counts cannot be turned into newtons, so nothing was analysed; the journal is unchanged.",
                do="Give the rig description and its calibration with --rig and --calibration.",
            )
        check_channels(rig, channels)
        rate_Hz = facts.rate_Hz if facts and facts.rate_Hz else rig.nominal_rate_Hz
        if not LOWEST_RATE_Hz / RATE_SLACK <= rate_Hz <= HIGHEST_RATE_Hz * RATE_SLACK:
            raise RateNotUsable(
                what=f"The board says that it reads {rate_Hz:.4g} times a second.",
                means="No hold can be timed at such a rate, so nothing is measured.",
                do=f"Set the board to between {LOWEST_RATE_Hz:g} and {HIGHEST_RATE_Hz:g} readings a second; many "
                "converters have a switch or a bridge between 10 and 80.",
            )
        self.rate_Hz = rate_Hz
        delay_s = rig.delay_s(rate_Hz)
        if rig.reading_delay_s is None and facts is not None and facts.protocol >= 1:
            delay_s = facts.reading_delay_us * 1e-6
        pipeline = Pipeline(
            rig,
            rate_Hz,
            self._analysis_settings,
            calibration=calibration,
            delay_s=delay_s,
            skew_s=facts.skew_us * 1e-6 if facts else 0.0,
            live=self._live,
            analyse=self._analyse,
        )
        if self.clock is not None:
            pipeline.clock(self.clock.rate, self.clock.u_rate, self.clock.utc_ns_at_zero)
        return pipeline

    def flush(self, *, interrupted: bool = False) -> Output:
        """End the record: a session in progress is measured."""
        if self._pipeline is None:
            return Output()
        return self._numbered(self._pipeline.flush(interrupted=interrupted), self._sessions_before)

    @property
    def samples(self) -> int:
        """Return the rows taken by the pipeline in use."""
        return self._pipeline.samples if self._pipeline else 0

    @property
    def lost(self) -> int:
        """Return the rows known to be lost."""
        return self._pipeline.lost if self._pipeline else 0

    @property
    def spikes(self) -> int:
        """Return the single readings masked."""
        return self._pipeline.spikes if self._pipeline else 0
