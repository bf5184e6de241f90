"""Who hangs: chosen by a coach or recognised by weight; the session in progress is theirs."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import BarPanel
from monitor.errors import MonitorError
from monitor.measures.swing import Pendulum
from monitor.service.background import Background
from monitor.service.session_archiver import CurrentSession, SessionArchiver
from monitor.store import Store

LOOK_AGAIN_S = 0.2


class PersonLeaves(MonitorError):
    """Somebody was chosen to hang who is being erased at this moment."""

    code = "person-leaves"


class CurrentPerson:
    """Knows who hangs, and keeps the session in progress and the prescription at the bar theirs.

    Parameters
    ----------
    use_pendulum : callable
        Called with the person's own pendulum whenever somebody else hangs, in the background.
    ended : threading.Event
        Set once no session can be in progress any more.
    """

    def __init__(
        self,
        store: Store,
        coaching: CoachingService,
        bar: BarPanel,
        background: Background,
        sessions: SessionArchiver,
        use_pendulum: Callable[[Pendulum], None],
        ended: threading.Event,
    ) -> None:
        self._store, self._coaching, self._bar = store, coaching, bar
        self._background, self._sessions = background, sessions
        self._use_pendulum, self._ended = use_pendulum, ended
        self.person_uid: str | None = None
        self._item: str | None = None
        self._leaving: str | None = None
        self._changing = threading.Condition()
        """Held while the person changes; notified when a session ends."""

    def start(self) -> None:
        """Go on with whoever hung when the program ended on the same day."""
        before = self._bar.named_before
        if before is None:
            self._background.later(self._bar.renew_queue)
            return
        self.person_uid = before
        self._bar.set_person(before, by_hand=False)
        self.prepare()

    def choose(self, uid: str | None, item: str | None) -> None:
        """Set who hangs from now on, as ``MonitorService.set_person``."""
        if uid is not None:
            self._coaching.person(uid)
        with self._changing:
            if uid is not None and uid == self._leaving:
                raise PersonLeaves(
                    what="This person is being erased.",
                    means="Nothing was changed.",
                    do="Choose somebody else, or cancel the erasing first.",
                )
            self.person_uid, self._item = uid, item
        self._bar.set_person(uid, by_hand=True)
        self._assign_session(uid, self._sessions.current)

    def recognise(self, uid: str | None) -> None:
        """Set who was recognised as who hangs, a little later, unless a coach has chosen somebody meanwhile."""
        self._background.later(self._set_recognised, uid, self._sessions.current)

    def _set_recognised(self, uid: str | None, session: CurrentSession | None) -> None:
        with self._changing:
            if not self._bar.identification.still_names(uid) or (uid is not None and uid == self._leaving):
                return
            self.person_uid, self._item = uid, None
        self._bar.set_person(uid, by_hand=False)
        self._assign_session(uid, session)

    def _assign_session(self, uid: str | None, session: CurrentSession | None) -> None:
        """Assign a session to somebody; their prescription and their pendulum are in force."""
        self._background.later(self._load_pendulum, uid)
        if session is not None and not (self._leaving is not None and self._sessions_on(self._leaving)):
            self._store.people.assign_session_later(session.uid, uid)
        self.prepare()

    @contextlib.contextmanager
    def let_go(self, uid: str, is_cancelled: Callable[[], bool]) -> Iterator[None]:
        """Keep somebody off the rig while the context lasts, as ``MonitorService.let_go``."""
        with self._changing:
            self._leaving = uid
            if self.person_uid == uid:
                self.person_uid, self._item = None, None
                self._bar.set_person(None, by_hand=True)
                self._background.later(self._load_pendulum, None)
        self._background.later(self._bar.forget, uid)
        try:
            with contextlib.suppress(RuntimeError):  # after the end of the service there is nothing to wait for
                self.settle()
                while not is_cancelled() and self._sessions_on(uid):
                    with self._changing:
                        self._changing.wait(LOOK_AGAIN_S)
                self.settle()
            yield
        finally:
            with self._changing:
                self._leaving = None

    def session_ended(self) -> None:
        """Note that the session in progress has ended."""
        self._bar.end_session()
        self.prepare()
        with self._changing:
            self._changing.notify_all()

    def person_changed(self, uid: str) -> None:
        """Prescribe anew for whoever hangs when a pain, a programme or a correction of theirs changes it."""
        if uid == self.person_uid:
            with contextlib.suppress(RuntimeError):  # the service has ended: nobody needs a prescription
                self.prepare()

    def prepare(self) -> None:
        """Load who hangs and compute their prescription, in the background."""
        self._background.later(self._prepare)

    def settle(self) -> None:
        """Wait until all that was measured is stored and what follows for who hangs is done.

        Raises
        ------
        RuntimeError
            The service has ended.
        """
        self._sessions.settle()
        self._background.settle()
        self._store.settle()

    def _prepare(self) -> None:
        # The next set follows from the hold that has just ended.
        self._sessions.settle()
        self._bar.prepare(self._item)

    def _sessions_on(self, uid: str) -> bool:
        """Return whether the session in progress may be somebody's: it is, or it is not in the database yet."""
        session = self._sessions.current
        if session is None or self._ended.is_set():
            return False
        stored = self._store.get_session(session.uid)
        return stored is None or stored.person_uid == uid

    def _load_pendulum(self, uid: str | None) -> None:
        self._use_pendulum(self._store.swings.pendulum(uid))
