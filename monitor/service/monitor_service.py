"""The running monitor of one rig: what a caller starts and stops, and what the dashboard asks."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.sources import Counters, HostClock, Source
from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.dashboard.interfaces import GivenSettings, Health
from monitor.dashboard.live.hub import LiveHub
from monitor.event_analyser import EventAnalyser
from monitor.exports.hold_curve import hold_curve
from monitor.health.mount import MountWatch
from monitor.made_holds import measured_content
from monitor.measures.picture import Picture
from monitor.measures.session_analysis import AnalysisSettings
from monitor.measures.swing import ANYBODY, Pendulum
from monitor.newtons.calibration import Calibration
from monitor.pipeline import Output, SessionBegan, SessionMeasured
from monitor.procedures.procedure_manager import Practice, ProcedureManager
from monitor.records.correction import CorrectionKind
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig
from monitor.service.background import Background
from monitor.service.current_person import CurrentPerson
from monitor.service.pipeline_thread import Observer, PipelineThread
from monitor.service.session_archiver import SessionArchiver
from monitor.store import DataFolder, HoldFilter, HoldOrder, Store
from monitor.store.files.session_recorder import SessionRecorder
from monitor.store.maintenance.rebuild import recent_journals

_log = logging.getLogger(__name__)

SETTINGS_KEY = "given"
MARKED_AFTER_S = 120.0
"""For so long after its end a session can be marked with one tap: people speak of pain after letting go."""


class MonitorService:
    """The running monitor of one rig.

    Parameters
    ----------
    source : Source
        Where counts come from; its tap should be ``recorder.tap``.
    recorder : SessionRecorder or None
        None: no raw readings are recorded (a replay of what is recorded already).
    observer : callable or None
        Called in the pipeline's thread with every source event and its output; it must return soon.
    practice : Practice or None
        For a rig in software: loads it as a calibration or a check asks.
    """

    def __init__(
        self,
        *,
        source: Source,
        rig: Rig | None,
        calibration: Calibration | None,
        store: Store,
        folder: DataFolder,
        hub: LiveHub,
        clock: HostClock | None = None,
        recorder: SessionRecorder | None = None,
        observer: Observer | None = None,
        practice: Practice | None = None,
    ) -> None:
        self._store, self._folder, self._hub = store, folder, hub
        self._clock = clock or HostClock()
        self._settings = _stored_settings(store)
        self._pendulum = ANYBODY
        self._newest_s = 0.0
        self._scene = ""
        self._last_session: tuple[str, float] | None = None
        self._advice_fault = ""
        self.coaching = CoachingService(store, self._clock.utc_ns)
        self.live = LiveCoaching()
        self.bar = BarPanel(self.coaching, self.live)
        self._background = Background()
        self._sessions = SessionArchiver(
            store, folder, hub, self._clock, recorder, self._background, lambda: self.live.now().target_s
        )
        analyser = EventAnalyser(_analysis_settings(self._settings, self._pendulum), rig, calibration, live=True)
        self._pipeline = PipelineThread(source, analyser, self._on_output, observer, self._sessions.end_journal)
        self.ended = self._pipeline.ended
        self._person = CurrentPerson(
            store, self.coaching, self.bar, self._background, self._sessions, self._use_pendulum, self.ended
        )
        self.coaching.watchers.append(self._person.person_changed)
        self.procedures = self._pipeline.procedures = (
            None
            if rig is None
            else ProcedureManager(
                rig,
                calibration,
                root=folder.root,
                calibrations=folder.calibrations,
                in_use=lambda: self._sessions.current is not None,
                hangs=lambda: self._scene == "hanging",
                ended=self._pipeline.renew,
                audit=store.audit.add,
                practice=practice,
                utc_ns=self._clock.utc_ns,
            )
        )
        self._mount = None if rig is None else MountWatch(rig)
        self.watchers: list[Callable[[], list[str]]] = []
        """Each returns further warnings for the rig's health."""

    # Start and end

    def start(self) -> None:
        """Rebuild what an interruption left, then read the source in threads of their own."""
        self._store.start_retries()
        # Looked up before the first session of this run can begin: its journal is no stray.
        self._background.later(
            self._sessions.rebuild, recent_journals(self._folder), self._pipeline.analyser.analysis_settings
        )
        self._person.start()
        self._pipeline.thread.start()

    def stop(self) -> None:
        """Close the source, measure a session in progress, finish writing. May be called again."""
        self._pipeline.stop()
        self._sessions.stop()
        self._store.finish_retries()
        self._background.stop()

    def settle(self) -> None:
        """Wait until everything measured so far is in the database."""
        self._person.settle()

    @property
    def alive(self) -> bool:
        """Return whether the pipeline makes progress; a service manager restarts a program whose pipeline does not."""
        return not self.stuck

    @property
    def stuck(self) -> str:
        """Return in words what is stuck: a dead thread, or one that does not return; empty while all is well."""
        return self._pipeline.stuck

    @property
    def counters(self) -> Counters:
        """Return what was received from the board since the start."""
        return self._pipeline.analyser.counters

    @property
    def folder(self) -> Path:
        """Return the root of the data folder."""
        return self._folder.root

    # Who hangs

    @property
    def person_uid(self) -> str | None:
        """Return the uid of who hangs now; None is a guest."""
        return self._person.person_uid

    def running_session(self) -> tuple[str, float] | None:
        """Return the uid of the session in progress, or of one that ended a moment ago, and its time now in s.

        The time is that of the pictures and holds: a marker at it lies where the screen showed it.
        """
        session = self._sessions.current
        if session is not None:
            return session.uid, self._newest_s
        last = self._last_session
        if last is None or self._newest_s - last[1] > MARKED_AFTER_S:
            return None
        return last

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        """Set who hangs from now on, and which item of the programme; None is a guest.

        A session in progress becomes theirs: who is on the rig is who was chosen last. Without an item the next one
        of the prescription is taken.

        Raises
        ------
        UnknownPerson, PersonLeaves
        """
        self._person.choose(uid, item)

    def let_go(self, uid: str, is_cancelled: Callable[[], bool]) -> contextlib.AbstractContextManager[None]:
        """Keep somebody off the rig while the context lasts: they are to be erased.

        Whoever hangs from now on is a guest. The context begins when a session of theirs in progress has ended: it is
        then complete, its journal closed, and can be erased with the rest; it never stays behind as a guest's.
        ``is_cancelled`` is polled meanwhile; once it is true the context begins at once.
        """
        return self._person.let_go(uid, is_cancelled)

    def _use_pendulum(self, pendulum: Pendulum) -> None:
        """Measure swings with this person's own kappa from now on."""
        self._pendulum = pendulum
        self._pipeline.analyser.analysis_settings = _analysis_settings(self._settings, pendulum)

    # What the dashboard reads and sets

    def settings(self) -> GivenSettings:
        """Return the allowed assistance and the given bodyweight."""
        return self._settings

    def change(self, settings: GivenSettings) -> GivenSettings:
        """Put settings in force, and store them."""
        self._store.set_setting(SETTINGS_KEY, {"alpha_max": settings.alpha_max, "bodyweight_N": settings.bodyweight_N})
        self._settings = settings
        self._pipeline.analyser.analysis_settings = _analysis_settings(settings, self._pendulum)
        return settings

    def health(self) -> Health:
        """Return whether the rig can measure now, in words."""
        link = self._pipeline.link
        warnings = self._pipeline.warnings() + self._store.warnings() + self._background.warnings()
        warnings += self._sessions.warnings()
        if self._mount is not None:
            warnings += self._mount.warnings()
        if self.procedures is not None and self.procedures.busy:
            warnings.append(self.procedures.words())
        for watcher in self.watchers:
            warnings += watcher()
        if link is None:
            return {"link": {"condition": "connecting"}, "warnings": warnings}
        since_s = (self._clock.monotonic_ns() - link.since_monotonic_ns) * 1e-9
        return {
            "link": {"condition": link.condition, "since_s": since_s, "reason": link.reason, "do": link.do},
            "warnings": warnings,
        }

    def list_holds(self, limit: int, offset: int) -> list[StoredHold]:
        """Return stored holds, newest first."""
        return self._store.list_holds(limit, offset)

    def find_holds(
        self, wanted: HoldFilter, limit: int, offset: int, order: HoldOrder = "newest"
    ) -> tuple[list[StoredHold], int]:
        """Return a page of the holds that a filter finds, in an order, and how many there are in all."""
        return self._store.find_holds(wanted, limit, offset, order)

    def count_holds(self) -> int:
        """Return how many holds are stored."""
        return self._store.count_holds()

    def get_hold(self, uid: str) -> StoredHold | None:
        """Return one stored hold."""
        return self._store.get_hold(uid)

    def hold_curve(self, uid: str) -> tuple[NDArray[np.float64], tuple[str, ...], NDArray[np.float64]] | None:
        """Return a hold's curve from its session's journal, with a few seconds around it."""
        return hold_curve(self._store, self._folder, uid)

    def measured_correction(self, hold_uid: str, kind: CorrectionKind, content: dict[str, Any]) -> dict[str, Any]:
        """Return a correction's content with the holds that it makes as measured, where their journal is there."""
        return measured_content(self._store, self._folder, hold_uid, kind, content, alpha_max=self._settings.alpha_max)

    # What the pipeline measured, in its thread

    def _on_output(self, out: Output) -> None:
        for picture in out.pictures:
            self._newest_s, self._scene = picture.t_s, picture.scene
            if self._mount is not None:
                self._mount.see(picture)
            self._hub.publish(picture)
        if self.procedures is None:
            self._handle(out)
            return
        with self.procedures.no_procedure_begins() as free:
            # During a guided procedure plates hang and people try the rig: it is shown, but no hold is stored.
            if free and not self._pipeline.renewing:
                self._handle(out)

    def _handle(self, out: Output) -> None:
        for picture in out.pictures:
            self._advise(picture)
        for event in out.events:
            if isinstance(event, SessionBegan):
                self._sessions.begin(event, self._pipeline.analyser, self._person.person_uid)
            else:
                self._session_measured(event)

    def _advise(self, picture: Picture) -> None:
        try:
            self.live.take(picture)
            recognised = self.bar.take(picture)
            if recognised is not None:
                self._person.recognise(recognised.person_uid)
        except Exception as error:
            # Advice is an extra: its fault must not end the measuring. Logged once, not for twenty pictures a second.
            if repr(error) != self._advice_fault:
                self._advice_fault = repr(error)
                _log.exception("advice on the running hold")
            self.live.set_person(None)

    def _session_measured(self, event: SessionMeasured) -> None:
        session = self._sessions.session_of(event)
        if session is None:
            return
        if event.final:
            self._last_session = (session.uid, self._newest_s)
        self._sessions.save(session, event, self._pipeline.analyser.clock)
        if event.final:
            self._person.session_ended()
        else:
            self._person.prepare()  # the next set follows from the hold that has just ended


def _analysis_settings(given: GivenSettings, pendulum: Pendulum) -> AnalysisSettings:
    return AnalysisSettings(bodyweight_N=given.bodyweight_N, alpha_max=given.alpha_max, pendulum=pendulum)


def _stored_settings(store: Store) -> GivenSettings:
    stored = store.get_setting(SETTINGS_KEY) or {}
    return GivenSettings(stored.get("alpha_max", GivenSettings().alpha_max), stored.get("bodyweight_N"))
