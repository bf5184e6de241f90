"""One thread for what follows from stored data and takes a while: rebuilding sessions, prescribing, recognising."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from monitor.store import DatabaseNotWritten
from monitor.store.database import writer

_log = logging.getLogger(__name__)


class Background:
    """Does tasks one after the other. One that the database refuses is repeated, and those behind it wait."""

    def __init__(self) -> None:
        self._ending = threading.Event()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="background")
        self._failure = self._refusal = ""

    def later(self, task: Callable[..., Any], *args: Any) -> None:
        """Queue a task; raises ``RuntimeError`` after ``stop``."""
        self._thread.submit(self._do, task, *args).add_done_callback(self._report)

    def settle(self) -> None:
        """Wait until every task so far is done."""
        self._thread.submit(lambda: None).result()

    def stop(self) -> None:
        """Finish the tasks; one that was refused is tried once more. May be called again."""
        self._ending.set()
        self._thread.shutdown(wait=True)

    def warnings(self) -> list[str]:
        """Return in words what failed, and what waits for the database."""
        return [words for words in (self._failure, self._refusal) if words]

    def _report(self, done: Future[Any]) -> None:
        error = done.exception()
        if error is not None:
            _log.error("in the background", exc_info=error)
            self._failure = f"Something could not be stored: {error}"

    def _do(self, task: Callable[..., Any], *args: Any) -> None:
        last = False
        while True:
            try:
                task(*args)
                break
            except DatabaseNotWritten as error:
                if last:
                    raise
                self._refusal = str(error)
            last = self._ending.wait(writer.RETRY_S)
        self._refusal = ""
