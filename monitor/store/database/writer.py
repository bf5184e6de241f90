"""The one queue in front of the database: writes are done in order by one thread, each in a transaction of its own."""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, ProgrammingError

from monitor.errors import TellableError
from monitor.store.errors import DatabaseClosed, DatabaseNotWritten

T = TypeVar("T")
Job = Callable[[Connection], T]

RETRY_S = 2.0
"""Pause before a refused write is tried again. Common practice, no source."""

_NEVER_ACCEPTED = (DataError, IntegrityError, ProgrammingError)

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Write:
    job: Job[Any]
    future: Future[Any]
    retry: bool


class Writer:
    """Takes jobs from any thread and does them one after the other.

    When a job raises, its transaction is rolled back and the exception goes to whoever waits for the job's future; the
    thread lives on. A job submitted with ``retry`` is kept while the database refuses it (a full disk, say), and so
    are the later ones with ``retry``: they keep their order. Other jobs fail at once.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._actions: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._closing = threading.Lock()
        self._closed = False
        # Everything below belongs to the thread; others only read it.
        self._refused: deque[_Write] = deque()
        self._retry_at_s = 0.0
        self._retrying = True
        self._refusal = self._loss = ""
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def submit(self, job: Job[T], *, retry: bool = False) -> Future[T]:
        """Queue a job; the future ends after the commit.

        Raises
        ------
        DatabaseClosed
        """
        future: Future[T] = Future()
        if not self._put(partial(self._take, _Write(job, future, retry))):
            raise DatabaseClosed(
                what="The database has been closed.",
                means="This write was not done.",
                do="Open the store again and repeat it.",
            )
        return future

    def start_retries(self) -> None:
        """Keep trying refused writes from now on, as after opening."""
        self._put(partial(self._set_retrying, True))

    def finish_retries(self) -> None:
        """Try what was refused a last time and wait for the outcome; from now on every refusal is final."""
        done = threading.Event()
        if self._put(partial(self._set_retrying, False)) and self._put(done.set):
            done.wait()

    def close(self) -> None:
        """Do what is queued, try what was refused a last time, then end the thread. May be called again."""
        with self._closing:
            if not self._closed:
                self._closed = True
                self._actions.put(None)
        self._thread.join()

    def warnings(self) -> list[str]:
        """Return in words what was lost, and why the database takes no write at the moment."""
        return [words for words in (self._loss, self._refusal) if words]

    def _put(self, action: Callable[[], None]) -> bool:
        with self._closing:
            if not self._closed:
                self._actions.put(action)
            return not self._closed

    def _run(self) -> None:
        while True:
            pause_s = max(0.0, self._retry_at_s - time.monotonic()) if self._refused else None
            if pause_s == 0.0:
                self._try_refused()
                continue
            try:
                action = self._actions.get(timeout=pause_s)
            except queue.Empty:
                continue
            if action is None:
                self._set_retrying(False)
                return
            action()

    def _set_retrying(self, retrying: bool) -> None:
        self._retrying = retrying
        self._try_refused()

    def _take(self, write: _Write) -> None:
        if not write.future.set_running_or_notify_cancel():
            return
        if (write.retry and self._refused) or not self._try(write):
            self._refused.append(write)

    def _try_refused(self) -> None:
        while self._refused and self._try(self._refused[0]):
            self._refused.popleft()
        if not self._refused:
            self._refusal = ""

    def _try(self, write: _Write) -> bool:
        """Do a job; return False where the database refused it and it is to be tried again."""
        try:
            with self._engine.begin() as connection:
                result = write.job(connection)
        except BaseException as error:
            reported = _in_words(error)
            refused = isinstance(reported, DatabaseNotWritten) and not isinstance(error, _NEVER_ACCEPTED)
            if write.retry and refused and self._retrying:
                if not self._refusal:
                    _log.error("%s", reported)
                self._refusal = str(reported)
                self._retry_at_s = time.monotonic() + RETRY_S
                return False
            if write.retry:
                self._loss = f"Something could not be stored: {reported}"
            if write.retry or reported is not error:
                _log.error("%s", reported)
            write.future.set_exception(reported)
        else:
            write.future.set_result(result)
        return True


def _in_words(error: BaseException) -> BaseException:
    """Return the error in words for the person where it is the database's; a caller's mistake stays what it is."""
    if isinstance(error, TellableError) or not isinstance(error, DBAPIError):
        return error
    reported = DatabaseNotWritten(
        what=f"The database took no write: {str(error.orig or error).strip()}.",
        means="This change is not in the database; the session's raw journal is separate and goes on.",
        do="Free some space on the disk or mend the permissions of the data folder; the session can be analysed again.",
    )
    reported.__cause__ = error
    return reported
