"""One thread that writes: jobs are done in order, each in a transaction of its own."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar, cast

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from monitor.errors import TellableError
from monitor.store.errors import DatabaseClosed, DatabaseNotWritten

T = TypeVar("T")
Job = Callable[[Connection], T]

_log = logging.getLogger(__name__)


class Writer:
    """Takes jobs from any thread and does them one after the other.

    A job's exception is rolled back, goes to whoever waits for the job's future, and leaves the thread alive.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._jobs: queue.SimpleQueue[tuple[Job[object], Future[object]] | None] = queue.SimpleQueue()
        self._closing = threading.Lock()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def submit(self, job: Job[T]) -> Future[T]:
        """Queue a job; the future ends after the commit.

        Raises
        ------
        DatabaseClosed
        """
        future: Future[T] = Future()
        with self._closing:
            if self._closed:
                raise DatabaseClosed(
                    what="The database has been closed.",
                    means="This write was not done.",
                    do="Open the store again and repeat it.",
                )
            self._jobs.put((job, cast("Future[object]", future)))
        return future

    def close(self) -> None:
        """Do what is queued, then end the thread. May be called again."""
        with self._closing:
            if not self._closed:
                self._closed = True
                self._jobs.put(None)
        self._thread.join()

    def _run(self) -> None:
        while (entry := self._jobs.get()) is not None:
            job, future = entry
            if not future.set_running_or_notify_cancel():
                continue
            try:
                with self._engine.begin() as connection:
                    done = job(connection)
            except BaseException as error:
                told = _told(error)
                if told is not error:
                    _log.error("%s", told)
                future.set_exception(told)
            else:
                future.set_result(done)


def _told(error: BaseException) -> BaseException:
    """Return the error in words for the person where it is the database's; a caller's mistake stays what it is."""
    if isinstance(error, TellableError) or not isinstance(error, DBAPIError):
        return error
    told = DatabaseNotWritten(
        what=f"The database took no write: {str(error.orig or error).strip()}.",
        means="This change is not kept in the database; the raw journal of the session is separate and goes on.",
        do="Free some space on the disk or mend the permissions of the data folder; the session can be analysed again.",
    )
    told.__cause__ = error
    return told
