"""The thread in which the pipeline measures what a source sends; a new calibration starts the pipeline anew."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import LinkState, Source, SourceEvent
from monitor.errors import MonitorError, TellableError
from monitor.event_analyser import EventAnalyser
from monitor.newtons.calibration import Calibration
from monitor.pipeline import Output
from monitor.procedures.procedure_manager import ProcedureManager

_log = logging.getLogger(__name__)

LONGEST_STEP_S = 60.0
"""Longest time for one event: even a small board measures a session of hours within seconds."""

Observer = Callable[[SourceEvent, Output], None]


class NotCalibrated(MonitorError):
    """The rig has no calibration yet, so that nothing can be measured."""

    code = "not-calibrated"

    def __init__(self) -> None:
        super().__init__(
            what="The rig has no calibration yet.",
            means="Readings arrive, but what they weigh is not known; no hold is measured.",
            do="Open First steps, and calibrate the rig with known masses.",
        )


class PipelineThread:
    """Reads a source to its end in a thread of its own.

    Parameters
    ----------
    on_output : callable
        Called with what the pipeline made of each event.
    observer : callable or None
        Called after it with the event and that output; it must return soon.
    at_end : callable
        Called when the thread has nothing more to do, before ``ended`` is set.
    """

    def __init__(
        self,
        source: Source,
        analyser: EventAnalyser,
        on_output: Callable[[Output], None],
        observer: Observer | None,
        at_end: Callable[[], None],
    ) -> None:
        self._source, self._on_output, self._observer, self._at_end = source, on_output, observer, at_end
        self.analyser = analyser
        self.procedures: ProcedureManager | None = None
        self.link: LinkState | None = None
        self._problem: TellableError | None = None
        self._fault = ""
        self._event_began_s: float | None = None
        self._renewal: Calibration | None = None
        self.renewing = False
        """A guided procedure has ended; nothing counts until the pipeline starts anew with the next fresh reading."""
        self.thread = threading.Thread(target=self._run, name="pipeline", daemon=True)
        self.ended = threading.Event()

    def stop(self) -> None:
        """Close the source and wait for the thread. May be called again."""
        self._source.close()
        if self.thread.is_alive():
            self.thread.join()

    @property
    def stuck(self) -> str:
        """Return in words what is stuck: a dead thread, or one that does not return; empty while all is well."""
        if not self.thread.is_alive():
            return "The measuring has ended."
        began_s = self._event_began_s
        if began_s is not None and (busy_s := time.monotonic() - began_s) > LONGEST_STEP_S:
            return f"The measuring has been at one and the same reading for {busy_s:.0f} s."
        return ""

    def warnings(self) -> list[str]:
        """Return in words why nothing is measured."""
        return [words for words in (str(self._problem or ""), self._fault) if words]

    def renew(self, calibration: Calibration | None) -> None:
        """Start the pipeline anew after a guided procedure, with the calibration that is in force from now on."""
        self._renewal = calibration
        self.renewing = True

    def _run(self) -> None:
        try:
            for event in self._source.events():
                self._event_began_s = time.monotonic()
                self._take(event)
                self._event_began_s = None
            self._on_output(self.analyser.flush(interrupted=True))
        except Exception as error:
            # A fault of this program: shown on the screen, never swallowed.
            _log.exception("the pipeline's thread")
            self._fault = f"Measuring has stopped by a fault of this program: {error!r}. Start it again."
        finally:
            self._at_end()
            self.ended.set()

    def _take(self, event: SourceEvent) -> None:
        if isinstance(event, LinkState):
            self.link = event
        if self.procedures is not None:
            if self.renewing and self.procedures.is_fresh(event):
                self._restart()
            self.procedures.take(event)
        try:
            if isinstance(event, CountBlock) and self.analyser.rig is not None and self.analyser.calibration is None:
                raise NotCalibrated
            out = self.analyser.take(event)
        except TellableError as error:
            if self._problem is None or str(self._problem) != str(error):
                _log.error("%s", error)
            self._problem = error
            return
        if isinstance(event, CountBlock):
            self._problem = None
        self._on_output(out)
        if self._observer is not None:
            self._observer(event, out)

    def _restart(self) -> None:
        calibration = self._renewal or self.analyser.calibration
        self.renewing, self._renewal = False, None
        self.analyser = self.analyser.renewed(calibration)
        if isinstance(self._problem, NotCalibrated) and calibration is not None:
            self._problem = None
