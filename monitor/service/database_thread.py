"""The bookkeeper: one thread in which the database is written, in the order in which things happened."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from monitor.store import DatabaseNotWritten

_log = logging.getLogger(__name__)

TRY_AGAIN_S = 2.0


class Bookkeeper:
    """Does tasks one after the other, in a thread of its own; what the database refuses is kept and tried again."""

    def __init__(self) -> None:
        self._ending = threading.Event()
        self._books = ThreadPoolExecutor(1, thread_name_prefix="database_thread")
        self._trouble = ""
        self._unwritten = ""

    def later(self, task: Callable[..., Any], *args: Any, **kwargs: Any) -> None:
        """Put a task behind all others; a ``RuntimeError`` says that the books are closed."""
        self._books.submit(self._patiently, task, *args, **kwargs).add_done_callback(self._told)

    def settle(self) -> None:
        """Wait until every task so far is done."""
        self._books.submit(lambda: None).result()

    def stop(self) -> None:
        """Finish the books: what a task waits for is tried once more. May be called again."""
        self._ending.set()
        self._books.shutdown(wait=True)

    def warnings(self) -> list[str]:
        """Return in words what could not be kept, and what waits for the database."""
        return [words for words in (self._trouble, self._unwritten) if words]

    def _told(self, done: Future[Any]) -> None:
        error = done.exception()
        if error is not None:
            _log.error("bookkeeping", exc_info=error)
            self._trouble = f"Something could not be kept: {error}"

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
