"""The running monitor of one rig: what a caller starts and stops, and what the dashboard asks."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.sources import Counters, HostClock, Source
from monitor.analysis import EventAnalyser
from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import AtTheBar
from monitor.coaching.live.live_advice import LiveCoaching
from monitor.dashboard.interfaces import GivenSettings, Health
from monitor.dashboard.live.hub import LiveHub
from monitor.exports.hold_curve import hold_curve
from monitor.health.mount import MountWatch
from monitor.health.procedure_manager import Practice, ProcedureManager
from monitor.measures.picture import Picture
from monitor.measures.session_analysis import AnalysisSettings
from monitor.measures.swing import ANYBODY, Pendulum
from monitor.newtons.calibration import Calibration
from monitor.pipeline import Output, SessionBegan, SessionMeasured
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig
from monitor.service.current_person import WhoHangs
from monitor.service.database_thread import Bookkeeper
from monitor.service.measuring import Measuring, Observer
from monitor.service.session_archiver import SessionArchiver
from monitor.store import DataFolder, HoldFilter, HoldOrder, Store
from monitor.store.files.session_recorder import SessionRecorder
from monitor.store.maintenance.rebuild import recent_journals

_log = logging.getLogger(__name__)

SETTINGS_KEY = "given"
MARKED_AFTER_S = 120.0
"""A session can be marked with one tap for so long after its end: pain is told after letting go."""


class MonitorService:
    """The running monitor of one rig.

    Parameters
    ----------
    source : Source
        Where counts come from; its tap should be ``recorder.tap``.
    recorder : SessionRecorder or None
        None: nothing raw is kept (a replay of what is kept already).
    observer : callable or None
        Called in the pipeline's thread with every source event and what came of it; it must return soon.
    practice : Practice or None
        For a rig in software: loads itself as a calibration or a check asks.
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
        self._given = _stored_settings(store)
        self._pendulum = ANYBODY
        self._seen_s = 0.0
        self._scene = ""
        self._last_session: tuple[str, float] | None = None
        self._advice_fault = ""
        self.coaching = CoachingService(store, self._clock.utc_ns)
        self.live = LiveCoaching()
        self.bar = AtTheBar(self.coaching, self.live)
        self._books = Bookkeeper()
        self._sessions = SessionArchiver(
            store, folder, hub, self._clock, recorder, self._books, lambda: self.live.now().target_s
        )
        analyser = EventAnalyser(_analysis_settings(self._given, self._pendulum), rig, calibration, live=True)
        self._measuring = Measuring(source, analyser, self._follow, observer, self._sessions.end_journal)
        self.ended = self._measuring.ended
        self._who = WhoHangs(store, self.coaching, self.bar, self._books, self._sessions, self._swings_like, self.ended)
        self.coaching.watchers.append(self._who.changed)
        self.procedures = self._measuring.procedures = (
            None
            if rig is None
            else ProcedureManager(
                rig,
                calibration,
                root=folder.root,
                calibrations=folder.calibrations,
                in_use=lambda: self._sessions.current is not None,
                hangs=lambda: self._scene == "hanging",
                ended=self._measuring.renew,
                tell=store.audit.add,
                practice=practice,
                utc_ns=self._clock.utc_ns,
            )
        )
        self._mount = None if rig is None else MountWatch(rig)
        self.watchers: list[Callable[[], list[str]]] = []
        """Asked for further warnings whenever somebody asks for the rig's health."""

    # What a caller does

    def start(self) -> None:
        """Rebuild what an interruption left, then read the source in threads of their own."""
        # Looked up before the first session of this run can begin: its journal is no stray.
        self._books.later(
            self._sessions.rebuild, recent_journals(self._folder), self._measuring.analyser.analysis_settings
        )
        self._who.start()
        self._measuring.thread.start()

    def stop(self) -> None:
        """Close the source, measure a stay in progress, finish the books. May be called again."""
        self._measuring.stop()
        self._sessions.stop()
        self._books.stop()

    def settle(self) -> None:
        """Wait until everything that was measured so far is in the database."""
        self._books.settle()

    @property
    def alive(self) -> bool:
        """Say whether the pipeline runs and moves; a service manager restarts a program whose does not."""
        return not self.stuck

    @property
    def stuck(self) -> str:
        """Say in words what stands still: a dead thread, or one that does not come back; empty while all moves."""
        return self._measuring.stuck

    @property
    def counters(self) -> Counters:
        """Return what came from the board since the start."""
        return self._measuring.analyser.counters

    @property
    def folder(self) -> Path:
        """Return where the data lie."""
        return self._folder.root

    # Who hangs

    @property
    def person_uid(self) -> str | None:
        """The uid of who hangs now; None is a guest."""
        return self._who.person_uid

    def running_session(self) -> tuple[str, float] | None:
        """Return the uid of the stay in progress, or of one that ended a moment ago, and its time now in s.

        The time is that of the pictures and holds: a marker at it lies where the screen showed it.
        """
        session = self._sessions.current
        if session is not None:
            return session.uid, self._seen_s
        last = self._last_session
        if last is None or self._seen_s - last[1] > MARKED_AFTER_S:
            return None
        return last

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        """Say who hangs from now on, and which item of the programme; None is a guest, whose endurance is nobody's.

        A session in progress is theirs: who is on the rig is who was named last. Without an item the next one of the
        prescription is taken.

        Raises
        ------
        UnknownPerson, PersonLeaves
        """
        self._who.name(uid, item)

    def let_go(self, uid: str, give_up: Callable[[], bool]) -> contextlib.AbstractContextManager[None]:
        """Take somebody off the rig, and keep them off while the context lasts: they are to be erased.

        Whoever hangs from now on is a guest. A session of theirs in progress is waited for, so that it is kept whole,
        with its journal closed, and can be erased with the rest; it is never left behind as a guest's.
        ``give_up`` is asked in between; once it says so the context begins at once.
        """
        return self._who.let_go(uid, give_up)

    def _swings_like(self, pendulum: Pendulum) -> None:
        """Tell swings from now on with somebody's own kappa."""
        self._pendulum = pendulum
        self._measuring.analyser.analysis_settings = _analysis_settings(self._given, pendulum)

    # The dashboard's doors

    def settings(self) -> GivenSettings:
        """Return the allowed assistance and the bodyweight that is given."""
        return self._given

    def change(self, settings: GivenSettings) -> GivenSettings:
        """Put settings in force, and keep them."""
        self._store.set_setting(SETTINGS_KEY, {"alpha_max": settings.alpha_max, "bodyweight_N": settings.bodyweight_N})
        self._given = settings
        self._measuring.analyser.analysis_settings = _analysis_settings(settings, self._pendulum)
        return settings

    def health(self) -> Health:
        """Return whether the rig can measure now, in words."""
        link = self._measuring.link
        warnings = self._measuring.warnings() + self._books.warnings() + self._sessions.warnings()
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

    # What comes of the readings, in the pipeline's thread

    def _follow(self, out: Output) -> None:
        for picture in out.pictures:
            self._seen_s, self._scene = picture.t_s, picture.scene
            if self._mount is not None:
                self._mount.see(picture)
            self._hub.publish(picture)
        if self.procedures is None:
            self._heed(out)
            return
        with self.procedures.no_procedure_begins() as free:
            # During a walk plates hang and people try the rig: pictures show it, no hold comes of it.
            if free and not self._measuring.renewing:
                self._heed(out)

    def _heed(self, out: Output) -> None:
        for picture in out.pictures:
            self._advise(picture)
        for event in out.events:
            if isinstance(event, SessionBegan):
                self._sessions.began(event, self._measuring.analyser, self._who.person_uid)
            else:
                self._session_measured(event)

    def _advise(self, picture: Picture) -> None:
        try:
            self.live.see(picture)
            named = self.bar.see(picture)
            if named is not None:
                self._who.named_by_weight(named.person_uid)
        except Exception as error:
            # Advice is an extra: a fault of it must not end the measuring. Twenty pictures a second: told once.
            if repr(error) != self._advice_fault:
                self._advice_fault = repr(error)
                _log.exception("advice on the running hold")
            self.live.hangs(None)

    def _session_measured(self, event: SessionMeasured) -> None:
        session = self._sessions.told_of(event)
        if session is None:
            return
        if event.final:
            self._last_session = (session.uid, self._seen_s)
        self._sessions.measured(session, event, self._measuring.analyser.clock)
        if event.final:
            self._who.left()
        else:
            self._who.prepare()  # the next set follows from the hold that has just ended


def _analysis_settings(given: GivenSettings, pendulum: Pendulum) -> AnalysisSettings:
    return AnalysisSettings(bodyweight_N=given.bodyweight_N, alpha_max=given.alpha_max, pendulum=pendulum)


def _stored_settings(store: Store) -> GivenSettings:
    kept = store.get_setting(SETTINGS_KEY) or {}
    return GivenSettings(kept.get("alpha_max", GivenSettings().alpha_max), kept.get("bodyweight_N"))
