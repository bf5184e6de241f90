"""Joins source, pipeline, store and live page: the running monitor.

Threads: the source's own reader (never waits), the pipeline's (this module's ``_run``), one that begins and ends
journals and one bookkeeper for the database (neither makes the pipeline wait), and the web server's loop.
"""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import Counters, HostClock, LinkState, Source, SourceEvent
from monitor.analysis import EventAnalyser, rig_note
from monitor.coaching.at_the_bar import AtTheBar
from monitor.coaching.desk import CoachingDesk
from monitor.coaching.live import LiveCoaching
from monitor.dashboard.cards import event_card
from monitor.dashboard.doors import Channel, GivenSettings, Health, RigCard
from monitor.dashboard.hub import LiveHub
from monitor.errors import MonitorError, TellableError
from monitor.exports.kept_curve import hold_curve
from monitor.health.bench import Bench, Practice
from monitor.health.mount import MountWatch
from monitor.measures.picture import Picture
from monitor.measures.record import Wishes
from monitor.measures.result import MEASUREMENT_VERSION, HoldResult, RecordResult
from monitor.measures.swing import ANYBODY, Pendulum
from monitor.newtons.calibration import Calibration, calibration_to_dict
from monitor.pipeline import Output, StayBegan, StayMeasured
from monitor.rig import Rig, rig_to_dict
from monitor.store import (
    DatabaseNotWritten,
    DataFolder,
    HoldFilter,
    HoldOrder,
    Store,
    StoredHold,
    hold_uid,
    new_stay_uid,
)
from monitor.store.rebuild import INTERRUPTED, rebuild_unfinished, recent_journals
from monitor.store.stay_recorder import StayRecorder

_log = logging.getLogger(__name__)

__all__ = ["INTERRUPTED", "MonitorService", "hold_curve", "rig_card"]

SETTINGS_KEY = "given"
TRY_AGAIN_S = 2.0
LONGEST_STEP_S = 60.0
"""One event may keep the pipeline for so long: a stay of hours is measured within seconds, on a small board too."""

LOOK_AGAIN_S = 0.2
MARKED_AFTER_S = 120.0
"""A stay can be marked with one tap for so long after its end: pain is told after letting go."""

Observer = Callable[[SourceEvent, Output], None]


class PersonLeaves(MonitorError):
    """Somebody is to hang who is being erased at this moment."""

    code = "person-leaves"


class NotCalibrated(MonitorError):
    """The rig has no calibration yet, so that nothing can be measured."""

    code = "not-calibrated"

    def __init__(self) -> None:
        super().__init__(
            what="The rig has no calibration yet.",
            means="Readings come, but nobody knows what they weigh; no hold is measured.",
            do="Open First steps, and calibrate the rig with known masses.",
        )


@dataclass
class _CurrentStay:
    number: int
    uid: str
    saved: set[int]


class MonitorService:
    """The running monitor of one rig.

    Parameters
    ----------
    source : Source
        Where counts come from; its tap should be ``recorder.tap``.
    recorder : StayRecorder or None
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
        recorder: StayRecorder | None = None,
        observer: Observer | None = None,
        practice: Practice | None = None,
    ) -> None:
        self._observer = observer
        self._source, self._store, self._folder, self._hub = source, store, folder, hub
        self._clock = clock or HostClock()
        self._recorder = recorder
        self._given = _stored_settings(store)
        self._pendulum = ANYBODY
        self._analyser = EventAnalyser(_wishes(self._given, self._pendulum), rig, calibration, live=True)
        self._link: LinkState | None = None
        self._problem: TellableError | None = None
        self._trouble: str = ""
        self._unwritten: str = ""
        self._unrecorded: str = ""
        self._busy_since_s: float | None = None
        self._ending = threading.Event()
        self._stay: _CurrentStay | None = None
        self.desk = CoachingDesk(store, self._clock.utc_ns)
        self.desk.watchers.append(self._changed)
        self.live = LiveCoaching()
        self.bar = AtTheBar(self.desk, self.live)
        self._person_uid: str | None = None
        self._item: str | None = None
        self._leaving: str | None = None
        self._seen_s: float = 0.0
        self._last_stay: tuple[str, float] | None = None
        self._scene = ""
        self._renewal: Calibration | None = None
        self._renew = False
        self.bench = (
            None
            if rig is None
            else Bench(
                rig,
                calibration,
                root=folder.root,
                calibrations=folder.calibrations,
                in_use=lambda: self._stay is not None,
                hangs=lambda: self._scene == "hanging",
                ended=self._walk_ended,
                tell=store.audit.add,
                practice=practice,
                utc_ns=self._clock.utc_ns,
            )
        )
        self._mount = None if rig is None else MountWatch(rig)
        self._naming = threading.Condition()
        """Held while somebody is named; told when a stay ends."""
        self._recording = ThreadPoolExecutor(1, thread_name_prefix="recording")
        self._books = ThreadPoolExecutor(1, thread_name_prefix="bookkeeper")
        self._thread = threading.Thread(target=self._run, name="pipeline", daemon=True)
        self.ended = threading.Event()
        self.watchers: list[Callable[[], list[str]]] = []
        """Asked for further warnings whenever somebody asks for the rig's health."""

    # What a caller does

    def start(self) -> None:
        """Rebuild what an interruption left, then read the source in threads of their own."""
        # Looked up before the first stay of this run can begin: its journal is no stray.
        self._later(self._rebuild, recent_journals(self._folder))
        if self.bar.named_before is not None:
            self._person_uid = self.bar.named_before
            self.bar.hangs(self._person_uid, by_hand=False)
            self._later(self._prepare)
        else:
            self._later(self.bar.renew_queue)
        self._thread.start()

    def stop(self) -> None:
        """Close the source, measure a stay in progress, finish the books. May be called again."""
        self._source.close()
        if self._thread.is_alive():
            self._thread.join()
        self._recording.shutdown(wait=True)
        self._ending.set()
        self._books.shutdown(wait=True)

    def settle(self) -> None:
        """Wait until everything that was measured so far is in the database."""
        self._books.submit(lambda: None).result()

    @property
    def alive(self) -> bool:
        """Say whether the pipeline runs and moves; a service manager restarts a program whose does not."""
        return self._thread.is_alive() and not self.stuck

    @property
    def stuck(self) -> str:
        """Say in words what stands still: a dead thread, or one that does not come back; empty while all moves."""
        if not self._thread.is_alive():
            return "The measuring has ended."
        begun_s = self._busy_since_s
        if begun_s is not None and (busy_s := time.monotonic() - begun_s) > LONGEST_STEP_S:
            return f"The measuring has been at one and the same reading for {busy_s:.0f} s."
        return ""

    @property
    def counters(self) -> Counters:
        """Return what came from the board since the start."""
        return self._analyser.counters

    @property
    def folder(self) -> Path:
        """Return where the data lie."""
        return self._folder.root

    # Who hangs

    @property
    def person_uid(self) -> str | None:
        """The uid of who hangs now; None is a guest."""
        return self._person_uid

    def running_stay(self) -> tuple[str, float] | None:
        """Return the uid of the stay in progress, or of one that ended a moment ago, and its time now in s.

        The time is that of the pictures and holds: a marker at it lies where the screen showed it.
        """
        stay = self._stay
        if stay is not None:
            return stay.uid, self._seen_s
        last = self._last_stay
        if last is None or self._seen_s - last[1] > MARKED_AFTER_S:
            return None
        return last

    def set_person(self, uid: str | None, item: str | None = None) -> None:
        """Say who hangs from now on, and which item of the programme; None is a guest, whose endurance is nobody's.

        A stay in progress is theirs: who is on the rig is who was named last. Without an item the next one of the
        prescription is taken.

        Raises
        ------
        UnknownPerson
        """
        if uid is not None:
            self.desk.person(uid)
        with self._naming:
            if uid is not None and uid == self._leaving:
                raise PersonLeaves(
                    what="This person is being erased.",
                    means="Nothing was changed.",
                    do="Choose somebody else, or cancel the erasing first.",
                )
            self._person_uid, self._item = uid, item
        self.bar.hangs(uid, by_hand=True)
        self._stay_is_theirs(uid, self._stay)

    def _named_by_weight(self, uid: str | None, stay: _CurrentStay | None) -> None:
        """Take who steps on as the one who hangs, unless a coach has said otherwise meanwhile."""
        with self._naming:
            if not self.bar.step_on.still_names(uid) or (uid is not None and uid == self._leaving):
                return
            self._person_uid, self._item = uid, None
        self.bar.hangs(uid, by_hand=False)
        self._stay_is_theirs(uid, stay)

    def _stay_is_theirs(self, uid: str | None, stay: _CurrentStay | None) -> None:
        """Write a stay to somebody, and reckon what is asked of them, and how they swing."""
        self._later(self._swings_like, uid)
        if stay is not None and not (self._leaving is not None and self._stays_on(self._leaving)):
            self._later(self._store.people.assign_stay, stay.uid, uid)
        self._later(self._prepare)

    @contextlib.contextmanager
    def let_go(self, uid: str, give_up: Callable[[], bool]) -> Iterator[None]:
        """Take somebody off the rig, and keep them off while the context lasts: they are to be erased.

        Whoever hangs from now on is a guest. A stay of theirs in progress is waited for, so that it is kept whole, with
        its journal closed, and can be erased with the rest; it is never left behind as a guest's. ``give_up`` is asked
        in between; once it says so the context begins at once.
        """
        with self._naming:
            self._leaving = uid
            if self._person_uid == uid:
                self._person_uid, self._item = None, None
                self.bar.hangs(None, by_hand=True)
                self._later(self._swings_like, None)
        self._later(self.bar.forget, uid)
        try:
            with contextlib.suppress(RuntimeError):  # after the end of the service there is nothing to wait for
                self.settle()
                while not give_up() and self._stays_on(uid):
                    with self._naming:
                        self._naming.wait(LOOK_AGAIN_S)
                self.settle()
            yield
        finally:
            with self._naming:
                self._leaving = None

    def _stays_on(self, uid: str) -> bool:
        """Say whether the stay in progress may be somebody's: it is, or it is not in the database yet."""
        stay = self._stay
        if stay is None or self.ended.is_set():
            return False
        kept = self._store.get_stay(stay.uid)
        return kept is None or kept.person_uid == uid

    def _swings_like(self, uid: str | None) -> None:
        """Tell swings from now on with somebody's own kappa."""
        self._pendulum = self._store.swings.pendulum(uid)
        self._analyser.wishes = _wishes(self._given, self._pendulum)

    def _changed(self, uid: str) -> None:
        """Reckon anew what is asked of whoever hangs, when a pain, a programme or a correction of theirs changes it."""
        if uid == self._person_uid:
            with contextlib.suppress(RuntimeError):  # after the end of the service nothing is asked of anybody
                self._later(self._prepare)

    def _prepare(self) -> None:
        """Reckon what is known of who hangs, and what is asked of them; in the bookkeeper's thread."""
        self.bar.prepare(self._item)

    # The dashboard's doors

    def settings(self) -> GivenSettings:
        """Return the allowed assistance and the bodyweight that is given."""
        return self._given

    def change(self, settings: GivenSettings) -> GivenSettings:
        """Put settings in force, and keep them."""
        self._store.set_setting(SETTINGS_KEY, {"alpha_max": settings.alpha_max, "bodyweight_N": settings.bodyweight_N})
        self._given = settings
        self._analyser.wishes = _wishes(settings, self._pendulum)
        return settings

    def health(self) -> Health:
        """Return whether the rig can measure now, in words."""
        link = self._link
        warnings = [
            w for w in (self._problem and str(self._problem), self._trouble, self._unwritten, self._unrecorded) if w
        ]
        if self._recorder is not None and self._recorder.trouble is not None:
            warnings.append(str(self._recorder.trouble))
        if self._mount is not None:
            warnings += self._mount.warnings()
        if self.bench is not None and self.bench.busy:
            warnings.append(self.bench.words())
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
        """Return a hold's curve from its stay's journal, with a few seconds around it."""
        return hold_curve(self._store, self._folder, uid)

    # The pipeline's thread

    def _run(self) -> None:
        try:
            for event in self._source.events():
                self._busy_since_s = time.monotonic()
                self._take(event)
                self._busy_since_s = None
            self._follow(self._analyser.flush(interrupted=True))
        except Exception as error:
            # A fault of this program: told on the screen, never swallowed.
            _log.exception("the pipeline's thread")
            self._trouble = f"Measuring has stopped by a fault of this program: {error!r}. Start it again."
        finally:
            if self._recorder is not None:
                self._recording.submit(self._recorder.end)
            self.ended.set()

    def _take(self, event: SourceEvent) -> None:
        if isinstance(event, LinkState):
            self._link = event
        if self.bench is not None:
            if self._renew and self.bench.is_fresh(event):
                self._begin_anew()
            self.bench.take(event)
        try:
            if isinstance(event, CountBlock) and self._analyser.rig is not None and self._analyser.calibration is None:
                raise NotCalibrated
            out = self._analyser.take(event)
        except TellableError as error:
            if self._problem is None or str(self._problem) != str(error):
                _log.error("%s", error)
            self._problem = error
            return
        if isinstance(event, CountBlock):
            self._problem = None
        self._follow(out)
        if self._observer is not None:
            self._observer(event, out)

    def _walk_ended(self, calibration: Calibration | None) -> None:
        """Let the pipeline begin anew after a walk, with what is in force from now on."""
        self._renewal = calibration
        self._renew = True

    def _begin_anew(self) -> None:
        calibration = self._renewal or self._analyser.calibration
        self._renew, self._renewal = False, None
        self._analyser = self._analyser.renewed(calibration)
        if isinstance(self._problem, NotCalibrated) and calibration is not None:
            self._problem = None

    def _follow(self, out: Output) -> None:
        for picture in out.pictures:
            self._seen_s, self._scene = picture.t_s, picture.scene
            if self._mount is not None:
                self._mount.see(picture)
            self._hub.publish(picture)
        if self.bench is None:
            self._heed(out)
            return
        with self.bench.no_walk_begins() as free:
            # During a walk plates hang and people try the rig: pictures show it, no hold comes of it.
            if free and not self._renew:
                self._heed(out)

    def _heed(self, out: Output) -> None:
        for picture in out.pictures:
            self._advise(picture)
        for event in out.events:
            if isinstance(event, StayBegan):
                self._stay_began(event)
            else:
                self._stay_measured(event)

    def _advise(self, picture: Picture) -> None:
        try:
            self.live.see(picture)
            named = self.bar.see(picture)
            if named is not None:
                self._later(self._named_by_weight, named.person_uid, self._stay)
        except Exception:
            # Advice is an extra: a fault of it must not end the measuring.
            _log.exception("advice on the running hold")
            self.live.hangs(None)

    def _stay_began(self, event: StayBegan) -> None:
        started_ns = self._utc_ns(event.at_s)
        uid = new_stay_uid(started_ns)
        self._stay = _CurrentStay(event.stay, uid, set())
        rig, calibration = self._analyser.rig, self._analyser.calibration
        if rig is None or calibration is None:
            return
        if self._recorder is not None:
            note = rig_note(rig, calibration, stay=uid, invented=rig.invented)
            self._recording.submit(self._begin_journal, self._recorder, uid, started_ns, note)
        self._later(
            self._store.begin_stay,
            started_ns,
            rig_to_dict(rig),
            calibration_to_dict(calibration),
            uid=uid,
            person_uid=self._person_uid,
        )

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

    def _stay_measured(self, event: StayMeasured) -> None:
        stay = self._stay
        if stay is None or stay.number != event.stay:
            return
        result = event.result
        holds = [self._stored(stay.uid, number, hold, result) for number, hold in enumerate(result.holds, start=1)]
        gone = [n for n in stay.saved if n > len(holds)]
        stay.saved = set(range(1, len(holds) + 1))
        # Curve before hold: what a screen is told to be kept has its raw readings on the disk.
        curve_kept = self._recording.submit(self._keep_curve, event.final)
        self._later(self._keep, holds, [hold_uid(stay.uid, n) for n in gone], curve_kept)
        if not event.final:
            self._later(self._prepare)  # the next set follows from the hold that has just ended
            return
        rate_Hz = result.quality.rate_Hz
        quality = {**result.as_dict()["quality"], "rate_Hz": rate_Hz}
        clock = self._analyser.clock
        self._later(
            self._store.end_stay,
            stay.uid,
            self._clock.utc_ns(),
            clock_rate=clock.rate if clock else None,
            quality=quality,
            interrupted=event.interrupted,
        )
        self._last_stay = (stay.uid, self._seen_s)
        self._stay = None
        self.bar.left()
        self._later(self._prepare)
        with self._naming:
            self._naming.notify_all()

    def _stored(self, stay_uid: str, number: int, hold: HoldResult, result: RecordResult) -> StoredHold:
        onset_ns = self._utc_ns(hold.onset_s)
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
            target_s=self.live.now().target_s,
        )

    def _utc_ns(self, board_s: float) -> int:
        """Return UTC of an instant of the board's clock, for display; the host's now where no fit is known yet."""
        fit = self._analyser.clock
        if fit is None:
            return self._clock.utc_ns()
        return fit.utc_ns_at_zero + round(fit.rate * board_s * 1e9)

    # The bookkeeper's thread

    def _later(self, task: Any, *args: Any, **kwargs: Any) -> None:
        def told(done: Future[Any]) -> None:
            error = done.exception()
            if error is not None:
                _log.error("bookkeeping", exc_info=error)
                self._trouble = f"Something could not be kept: {error}"

        self._books.submit(self._patiently, task, *args, **kwargs).add_done_callback(told)

    def _patiently(self, task: Callable[..., Any], *args: Any, **kwargs: Any) -> None:
        """Do a task; while the database takes no write, keep it and all that follow, and try again."""
        while True:
            try:
                task(*args, **kwargs)
            except DatabaseNotWritten as error:
                self._unwritten = str(error)
                if self._ending.wait(TRY_AGAIN_S):
                    task(*args, **kwargs)  # the last chance; what fails now is told
                    break
            else:
                break
        self._unwritten = ""

    def _keep(self, holds: list[StoredHold], gone: list[str], curve_kept: Future[None]) -> None:
        curve_kept.result()
        for hold in holds:
            kept = self._store.save_hold(hold)
            kind: Literal["closed", "revised"] = "revised" if kept.revised else "closed"
            self._hub.publish_event(event_card(kind, kept.uid, kept))
        for uid in gone:
            if self._store.withdraw_hold(uid):
                self._hub.publish_event(event_card("withdrawn", uid))

    def _rebuild(self, journals: list[Path]) -> None:
        """Measure the stays that an interruption cut off, from their journals; mark them."""
        for one in rebuild_unfinished(self._store, self._folder, self._analyser.wishes, journals):
            _log.warning("stay %s was interrupted; %d holds rebuilt. %s", one.stay_uid, len(one.holds), one.problem)


def _wishes(given: GivenSettings, pendulum: Pendulum) -> Wishes:
    return Wishes(bodyweight_N=given.bodyweight_N, alpha_max=given.alpha_max, pendulum=pendulum)


def _stored_settings(store: Store) -> GivenSettings:
    kept = store.get_setting(SETTINGS_KEY) or {}
    return GivenSettings(kept.get("alpha_max", GivenSettings().alpha_max), kept.get("bodyweight_N"))


def rig_card(rig: Rig | None) -> RigCard:
    """Return the rig as a screen needs it; one without cells where none was chosen yet."""
    if rig is None:
        return {
            "name": "Hang monitor",
            "channels": [],
            "has_platform": False,
            "bar_cells": 0,
            "nominal_rate_Hz": 0.0,
            "invented": False,
        }
    channels: list[Channel] = [{"name": c.name, "part": c.part} for c in rig.channels]
    return {
        "name": rig.name,
        "channels": channels,
        "has_platform": rig.has_platform,
        "bar_cells": len(rig.bar_index),
        "nominal_rate_Hz": rig.nominal_rate_Hz,
        "invented": rig.invented,
        "gravity_m_s2": rig.gravity_m_s2,
    }
