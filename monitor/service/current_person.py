"""Who hangs: named by a coach or told by weight, let go to be erased; a stay in progress is theirs."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.live.bar_panel import AtTheBar
from monitor.errors import MonitorError
from monitor.measures.swing import Pendulum
from monitor.service.database_thread import Bookkeeper
from monitor.service.session_archiver import CurrentSession, SessionArchiver
from monitor.store import Store

LOOK_AGAIN_S = 0.2


class PersonLeaves(MonitorError):
    """Somebody is to hang who is being erased at this moment."""

    code = "person-leaves"


class WhoHangs:
    """Knows who hangs, and has reckoned what is asked of them.

    Parameters
    ----------
    swings_like : callable
        Told of the body's own pendulum whenever somebody else hangs, in the bookkeeper's thread.
    ended : threading.Event
        Set once no session can be in progress any more.
    """

    def __init__(
        self,
        store: Store,
        coaching: CoachingService,
        bar: AtTheBar,
        books: Bookkeeper,
        sessions: SessionArchiver,
        swings_like: Callable[[Pendulum], None],
        ended: threading.Event,
    ) -> None:
        self._store, self._coaching, self._bar, self._books, self._sessions = store, coaching, bar, books, sessions
        self._tell_swings, self._ended = swings_like, ended
        self.person_uid: str | None = None
        self._item: str | None = None
        self._leaving: str | None = None
        self._naming = threading.Condition()
        """Held while somebody is named; told when a session ends."""

    def start(self) -> None:
        """Take up whoever was named when the program ended on the same day."""
        before = self._bar.named_before
        if before is None:
            self._books.later(self._bar.renew_queue)
            return
        self.person_uid = before
        self._bar.hangs(before, by_hand=False)
        self.prepare()

    def name(self, uid: str | None, item: str | None) -> None:
        """Say who hangs from now on, as ``MonitorService.set_person``."""
        if uid is not None:
            self._coaching.person(uid)
        with self._naming:
            if uid is not None and uid == self._leaving:
                raise PersonLeaves(
                    what="This person is being erased.",
                    means="Nothing was changed.",
                    do="Choose somebody else, or cancel the erasing first.",
                )
            self.person_uid, self._item = uid, item
        self._bar.hangs(uid, by_hand=True)
        self._session_is_theirs(uid, self._sessions.current)

    def named_by_weight(self, uid: str | None) -> None:
        """Take who steps on as the one who hangs, a little later, unless a coach has said otherwise meanwhile."""
        self._books.later(self._take_by_weight, uid, self._sessions.current)

    def _take_by_weight(self, uid: str | None, session: CurrentSession | None) -> None:
        with self._naming:
            if not self._bar.step_on.still_names(uid) or (uid is not None and uid == self._leaving):
                return
            self.person_uid, self._item = uid, None
        self._bar.hangs(uid, by_hand=False)
        self._session_is_theirs(uid, session)

    def _session_is_theirs(self, uid: str | None, session: CurrentSession | None) -> None:
        """Write a session to somebody, and reckon what is asked of them, and how they swing."""
        self._books.later(self._swings_like, uid)
        if session is not None and not (self._leaving is not None and self._sessions_on(self._leaving)):
            self._books.later(self._store.people.assign_session, session.uid, uid)
        self.prepare()

    @contextlib.contextmanager
    def let_go(self, uid: str, give_up: Callable[[], bool]) -> Iterator[None]:
        """Take somebody off the rig while the context lasts, as ``MonitorService.let_go``."""
        with self._naming:
            self._leaving = uid
            if self.person_uid == uid:
                self.person_uid, self._item = None, None
                self._bar.hangs(None, by_hand=True)
                self._books.later(self._swings_like, None)
        self._books.later(self._bar.forget, uid)
        try:
            with contextlib.suppress(RuntimeError):  # after the end of the service there is nothing to wait for
                self._books.settle()
                while not give_up() and self._sessions_on(uid):
                    with self._naming:
                        self._naming.wait(LOOK_AGAIN_S)
                self._books.settle()
            yield
        finally:
            with self._naming:
                self._leaving = None

    def left(self) -> None:
        """Note that the stay in progress has ended."""
        self._bar.left()
        self.prepare()
        with self._naming:
            self._naming.notify_all()

    def changed(self, uid: str) -> None:
        """Reckon anew what is asked of whoever hangs, when a pain, a programme or a correction of theirs changes it."""
        if uid == self.person_uid:
            with contextlib.suppress(RuntimeError):  # after the end of the service nothing is asked of anybody
                self.prepare()

    def prepare(self) -> None:
        """Reckon what is known of who hangs, and what is asked of them; in the bookkeeper's thread."""
        self._books.later(lambda: self._bar.prepare(self._item))

    def _sessions_on(self, uid: str) -> bool:
        """Say whether the stay in progress may be somebody's: it is, or it is not in the database yet."""
        session = self._sessions.current
        if session is None or self._ended.is_set():
            return False
        kept = self._store.get_session(session.uid)
        return kept is None or kept.person_uid == uid

    def _swings_like(self, uid: str | None) -> None:
        self._tell_swings(self._store.swings.pendulum(uid))
