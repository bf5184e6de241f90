"""Records sessions: the journal while one lasts, the session and its holds in the database."""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Literal

from firmware_bridge.sources import ClockFit, HostClock
from monitor.dashboard.live.hub import LiveHub
from monitor.dashboard.views.json_views import event_view
from monitor.event_analyser import EventAnalyser, rig_note
from monitor.made_holds import measure_made_holds
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import calibration_to_dict
from monitor.pipeline import SessionBegan, SessionMeasured
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.session_result import SessionResult
from monitor.records.stored_hold import StoredHold
from monitor.rig import rig_to_dict
from monitor.service.background import Background
from monitor.store import DataFolder, Store, hold_uid, new_session_uid
from monitor.store.files.session_recorder import SessionRecorder
from monitor.store.maintenance.rebuild import rebuild_unfinished

_log = logging.getLogger(__name__)


@dataclass
class CurrentSession:
    """The session in progress: its number in the pipeline, its uid, and the numbers of its stored holds."""

    number: int
    uid: str
    saved: set[int] = field(default_factory=set)


class SessionArchiver:
    """Records sessions as the pipeline reports them; called in its thread, which waits for neither disk nor database.

    Parameters
    ----------
    recorder : SessionRecorder or None
        None: no raw readings are recorded (a replay of what is recorded already).
    target_s : callable
        Returns the prescribed time of the running hold (s), None where nothing is prescribed.
    """

    def __init__(
        self,
        store: Store,
        folder: DataFolder,
        hub: LiveHub,
        clock: HostClock,
        recorder: SessionRecorder | None,
        background: Background,
        target_s: Callable[[], float | None],
    ) -> None:
        self._store, self._folder, self._hub, self._clock = store, folder, hub, clock
        self._recorder, self._background, self._target_s = recorder, background, target_s
        self._recording = ThreadPoolExecutor(1, thread_name_prefix="recording")
        self._journal_trouble = ""
        self._begun: set[str] = set()
        self.current: CurrentSession | None = None

    def begin(self, event: SessionBegan, analyser: EventAnalyser, person_uid: str | None) -> None:
        """Begin a session, of somebody or of a guest, and its journal."""
        started_ns = self._utc_ns(event.at_s, analyser.clock)
        uid = new_session_uid(started_ns)
        self.current = CurrentSession(event.session, uid)
        rig, calibration = analyser.rig, analyser.calibration
        if rig is None or calibration is None:
            return
        if self._recorder is not None:
            note = rig_note(rig, calibration, session=uid, invented=rig.invented)
            self._recording.submit(self._begin_journal, self._recorder, uid, started_ns, note)
        self._begun.add(uid)
        self._store.begin_session_later(uid, started_ns, rig_to_dict(rig), calibration_to_dict(calibration), person_uid)

    def session_of(self, event: SessionMeasured) -> CurrentSession | None:
        """Return the session in progress if an event belongs to it."""
        session = self.current
        return session if session is not None and session.number == event.session else None

    def save(self, session: CurrentSession, event: SessionMeasured, clock: ClockFit | None) -> None:
        """Store the holds of the session in progress as they are now, and its end if it has one."""
        result = event.result
        holds = [self._stored(session.uid, n, hold, result, clock) for n, hold in enumerate(result.holds, start=1)]
        gone = [hold_uid(session.uid, n) for n in session.saved if n > len(holds)]
        session.saved = set(range(1, len(holds) + 1))
        self._recording.submit(self._save_holds, holds, gone, event.final)
        if event.final:
            self._recording.submit(
                self._store.end_session_later,
                session.uid,
                self._clock.utc_ns(),
                clock.rate if clock else None,
                {**result.as_dict()["quality"], "rate_Hz": result.quality.rate_Hz},
                event.interrupted,
            )
            self._recording.submit(self._background.later, self._measure_made_holds, session.uid)
            self.current = None

    def rebuild(self, journals: list[Path], analysis_settings: AnalysisSettings) -> None:
        """Measure the sessions that an interruption cut off from their journals, and mark them."""
        for one in rebuild_unfinished(self._store, self._folder, analysis_settings, journals, self._begun):
            _log.warning(
                "session %s was interrupted; %d holds rebuilt. %s", one.session_uid, len(one.holds), one.problem
            )
            measure_made_holds(self._store, self._folder, one.session_uid)

    def end_journal(self) -> None:
        """End the journal in progress: no more readings come."""
        if self._recorder is not None:
            self._recording.submit(self._recorder.end)

    def settle(self) -> None:
        """Wait until everything reported so far is in its journal and in the database."""
        with contextlib.suppress(RuntimeError):  # stopped: no journal is open
            self._recording.submit(lambda: None).result()
        self._store.settle()

    def stop(self) -> None:
        """Finish the journals, and queue what follows from them. May be called again."""
        self._recording.shutdown(wait=True)

    def warnings(self) -> list[str]:
        """Return in words why raw readings are not recorded."""
        trouble = self._recorder.trouble if self._recorder is not None else None
        return [words for words in (self._journal_trouble, str(trouble or "")) if words]

    def _begin_journal(self, recorder: SessionRecorder, uid: str, started_ns: int, note: dict[str, object]) -> None:
        """Begin a session's journal in its own thread: the ring keeps what comes while a slow disk makes it wait."""
        try:
            recorder.begin(self._folder.new_journal(uid, started_ns), note)
            self._journal_trouble = ""
        except Exception as error:
            self._journal_trouble = str(error)
            _log.error("the journal of session %s: %s", uid, error)

    def _write_curve(self, ended: bool) -> None:
        if self._recorder is None:
            return
        try:
            if ended:
                self._recorder.end()
            else:
                self._recorder.flush()
        except Exception as error:
            self._journal_trouble = str(error)
            _log.exception("the journal in progress")

    def _save_holds(self, holds: list[StoredHold], gone: list[str], ended: bool) -> None:
        """Queue holds once their curve is on the disk: a screen hears of no stored hold without its raw readings."""
        self._write_curve(ended)
        for hold in holds:
            self._store.save_hold_later(hold).add_done_callback(self._publish_stored)
        for uid in gone:
            self._store.withdraw_hold_later(uid).add_done_callback(partial(self._publish_withdrawn, uid))

    def _publish_stored(self, saved: Future[StoredHold]) -> None:
        if saved.exception() is None:
            stored = saved.result()
            kind: Literal["closed", "revised"] = "revised" if stored.revised else "closed"
            self._hub.publish_event(event_view(kind, stored.uid, stored))

    def _publish_withdrawn(self, uid: str, withdrawn: Future[bool]) -> None:
        if withdrawn.exception() is None and withdrawn.result():
            self._hub.publish_event(event_view("withdrawn", uid))

    def _measure_made_holds(self, session_uid: str) -> None:
        """Measure what was joined or split during the session once more: its zeros are better known now."""
        self._store.settle()
        if not self._store.corrections.of_session(session_uid):
            return
        before = {hold.uid: hold for hold in self._store.holds_of_session(session_uid)}
        measure_made_holds(self._store, self._folder, session_uid)
        for hold in self._store.holds_of_session(session_uid):
            if hold != before.get(hold.uid):
                self._hub.publish_event(event_view("revised", hold.uid, hold))

    def _stored(
        self, session_uid: str, number: int, hold: HoldResult, result: SessionResult, clock: ClockFit | None
    ) -> StoredHold:
        onset_ns = self._utc_ns(hold.onset_s, clock)
        return StoredHold(
            uid=hold_uid(session_uid, number),
            session_uid=session_uid,
            number=number,
            onset_utc_ns=onset_ns,
            bodyweight_N=hold.bodyweight_N,
            bodyweight_u_N=hold.bodyweight_u_N,
            result=hold,
            measurement_version=MEASUREMENT_VERSION,
            utc_offset_s=time.localtime(onset_ns // 10**9).tm_gmtoff,
            target_s=self._target_s(),
        )

    def _utc_ns(self, board_s: float, clock: ClockFit | None) -> int:
        """Return UTC of an instant of the board's clock, for display; the host's now where no fit is known yet."""
        if clock is None:
            return self._clock.utc_ns()
        return clock.utc_ns_at_zero + round(clock.rate * board_s * 1e9)
