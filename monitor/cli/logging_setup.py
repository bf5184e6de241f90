"""The program's log: text for people on the terminal, a small file of JSON lines in the data folder."""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import sys
import time
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, Literal

from firmware_bridge.errors import TellableError
from monitor.dashboard.views.request_log import REQUEST_ID
from monitor.store.files.folder import private_folder

Level = Literal["debug", "info", "warning", "error"]
FILE, MOST_BYTES, OLDER = "hang-monitor.log", 2_000_000, 4
"""Size of the file, and how many older ones stay: ten megabytes at most, months of an ordinary hall."""


class JsonLineFormatter(logging.Formatter):
    """Writes a record as JSON: time, level, origin, message, request, and what the record adds."""

    def format(self, record: logging.LogRecord) -> str:
        """Return one line."""
        at = dt.datetime.fromtimestamp(record.created, dt.UTC)
        entry: dict[str, Any] = {
            "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            # The wall clock may step; this one does not.
            "monotonic_s": round(time.monotonic(), 3),
            "level": record.levelname.lower(),
            "from": record.name,
            "what": record.getMessage(),
        }
        if request := REQUEST_ID.get():
            entry["request"] = request
        entry.update(getattr(record, "structure", {}))
        if record.exc_info and record.exc_info[1] is not None:
            error = record.exc_info[1]
            if isinstance(error, TellableError):
                entry["code"] = error.code
            entry["trace"] = self.formatException(record.exc_info)
        return json.dumps(entry, ensure_ascii=False, default=str)


class _PrivateFile(RotatingFileHandler):
    """A log file that only its owner may read; so are those that follow it."""

    def _open(self) -> Any:
        handle = os.open(self.baseFilename, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o600)
        return open(handle, "a", encoding="utf-8", errors="backslashreplace")


def begin_log(folder: Path, level: str = "info") -> None:
    """Log to the terminal what a person should see, and to ``log/`` in the data folder from ``level`` on.

    A log that cannot be written, on a full disk for example, never stops the measuring.
    """
    logging.raiseExceptions = False
    terminal = logging.StreamHandler(sys.stderr)
    terminal.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    terminal.setLevel(logging.WARNING)
    handlers: list[logging.Handler] = [terminal]
    try:
        private_folder(folder / "log")
        file_log = _PrivateFile(folder / "log" / FILE, maxBytes=MOST_BYTES, backupCount=OLDER, encoding="utf-8")
    except OSError as error:
        sys.stderr.write(f"No log is written: {folder / 'log'} cannot be written ({error.strerror or error}).\n")
    else:
        file_log.setFormatter(JsonLineFormatter())
        file_log.setLevel(level.upper())
        handlers.append(file_log)
    logging.basicConfig(level=min(handler.level for handler in handlers), handlers=handlers, force=True)
    if level != "debug":
        # At this level other libraries log what only their developers need.
        for name in ("alembic", "asyncio", "matplotlib", "uvicorn", "websockets"):
            logging.getLogger(name).setLevel(logging.WARNING)
