"""What is kept of a stay: its journal while it lasts, the stay and its holds in the database."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from firmware_bridge.sources import ClockFit, HostClock
from monitor.analysis import EventAnalyser, rig_note
from monitor.dashboard.cards import event_card
from monitor.dashboard.hub import LiveHub
from monitor.measures.record import Wishes
from monitor.measures.result import MEASUREMENT_VERSION, HoldResult, RecordResult
from monitor.newtons.calibration import calibration_to_dict
from monitor.pipeline import StayBegan, StayMeasured
from monitor.rig import rig_to_dict
from monitor.service.bookkeeper import Bookkeeper
from monitor.store import DataFolder, Store, StoredHold, hold_uid, new_stay_uid
from monitor.store.rebuild import rebuild_unfinished
from monitor.store.stay_recorder import StayRecorder

_log = logging.getLogger(__name__)


@dataclass
class CurrentStay:
    """The stay in progress: its number in the pipeline, its uid, and the numbers of its holds that are kept."""

    number: int
    uid: str
    saved: set[int] = field(default_factory=set)


class StayKeeping:
    """Keeps stays as the pipeline tells of them; called in its thread, which waits for neither disk nor database.

    Parameters
    ----------
    recorder : StayRecorder or None
        None: nothing raw is kept (a replay of what is kept already).
    target_s : callable
        What the running hold is asked for (s); None where nothing is.
    """

    def __init__(
        self,
        store: Store,
        folder: DataFolder,
        hub: LiveHub,
        clock: HostClock,
        recorder: StayRecorder | None,
        books: Bookkeeper,
        target_s: Callable[[], float | None],
    ) -> None:
        self._store, self._folder, self._hub, self._clock = store, folder, hub, clock
        self._recorder, self._books, self._target_s = recorder, books, target_s
        self._recording = ThreadPoolExecutor(1, thread_name_prefix="recording")
        self._unrecorded = ""
        self.current: CurrentStay | None = None

    def began(self, event: StayBegan, analyser: EventAnalyser, person_uid: str | None) -> None:
        """Begin a stay, of somebody or of a guest, and its journal."""
        started_ns = self._utc_ns(event.at_s, analyser.clock)
        uid = new_stay_uid(started_ns)
        self.current = CurrentStay(event.stay, uid)
        rig, calibration = analyser.rig, analyser.calibration
        if rig is None or calibration is None:
            return
        if self._recorder is not None:
            note = rig_note(rig, calibration, stay=uid, invented=rig.invented)
            self._recording.submit(self._begin_journal, self._recorder, uid, started_ns, note)
        self._books.later(
            self._store.begin_stay,
            started_ns,
            rig_to_dict(rig),
            calibration_to_dict(calibration),
            uid=uid,
            person_uid=person_uid,
        )

    def told_of(self, event: StayMeasured) -> CurrentStay | None:
        """Return the stay in progress if an event is of it."""
        stay = self.current
        return stay if stay is not None and stay.number == event.stay else None

    def measured(self, stay: CurrentStay, event: StayMeasured, clock: ClockFit | None) -> None:
        """Keep the holds of the stay in progress as they are now, and its end if it has one."""
        result = event.result
        holds = [self._stored(stay.uid, n, hold, result, clock) for n, hold in enumerate(result.holds, start=1)]
        gone = [hold_uid(stay.uid, n) for n in stay.saved if n > len(holds)]
        stay.saved = set(range(1, len(holds) + 1))
        # Curve before hold: what a screen is told to be kept has its raw readings on the disk.
        curve_kept = self._recording.submit(self._keep_curve, event.final)
        self._books.later(self._keep, holds, gone, curve_kept)
        if event.final:
            self._books.later(
                self._store.end_stay,
                stay.uid,
                self._clock.utc_ns(),
                clock_rate=clock.rate if clock else None,
                quality={**result.as_dict()["quality"], "rate_Hz": result.quality.rate_Hz},
                interrupted=event.interrupted,
            )
            self.current = None

    def rebuild(self, journals: list[Path], wishes: Wishes) -> None:
        """Measure the stays that an interruption cut off, from their journals; mark them."""
        for one in rebuild_unfinished(self._store, self._folder, wishes, journals):
            _log.warning("stay %s was interrupted; %d holds rebuilt. %s", one.stay_uid, len(one.holds), one.problem)

    def end_journal(self) -> None:
        """End the journal in progress: nothing comes any more."""
        if self._recorder is not None:
            self._recording.submit(self._recorder.end)

    def settle(self) -> None:
        """Wait until every journal is begun, flushed and ended as was said so far."""
        self._recording.submit(lambda: None).result()

    def stop(self) -> None:
        """Finish the journals. May be called again."""
        self._recording.shutdown(wait=True)

    def warnings(self) -> list[str]:
        """Return in words what hinders the keeping of raw readings."""
        trouble = self._recorder.trouble if self._recorder is not None else None
        return [words for words in (self._unrecorded, str(trouble or "")) if words]

    def _begin_journal(self, recorder: StayRecorder, uid: str, started_ns: int, note: dict[str, object]) -> None:
        """Begin a stay's journal, in a thread of its own: the ring keeps what comes while a slow disk makes it wait."""
        try:
            recorder.begin(self._folder.new_journal(uid, started_ns), note)
            self._unrecorded = ""
        except Exception as error:
            self._unrecorded = str(error)
            _log.error("the journal of stay %s: %s", uid, error)

    def _keep_curve(self, ended: bool) -> None:
        if self._recorder is None:
            return
        if ended:
            self._recorder.end()
        else:
            self._recorder.flush()

    def _keep(self, holds: list[StoredHold], gone: list[str], curve_kept: Future[None]) -> None:
        curve_kept.result()
        for hold in holds:
            kept = self._store.save_hold(hold)
            kind: Literal["closed", "revised"] = "revised" if kept.revised else "closed"
            self._hub.publish_event(event_card(kind, kept.uid, kept))
        for uid in gone:
            if self._store.withdraw_hold(uid):
                self._hub.publish_event(event_card("withdrawn", uid))

    def _stored(
        self, stay_uid: str, number: int, hold: HoldResult, result: RecordResult, clock: ClockFit | None
    ) -> StoredHold:
        onset_ns = self._utc_ns(hold.onset_s, clock)
        return StoredHold(
            uid=hold_uid(stay_uid, number),
            stay_uid=stay_uid,
            number=number,
            onset_utc_ns=onset_ns,
            bodyweight_N=result.bodyweight_N,
            bodyweight_u_N=result.bodyweight_u_N,
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
