"""An empty database of the newest revision, made once: making the tables takes longer than most tests."""

from __future__ import annotations

import functools
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from monitor.store import open_store


@functools.cache
def _content() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "blank.sqlite"
        open_store(path).close()
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return path.read_bytes()


def blank_database(path: Path) -> Path:
    """Put an empty database at a path, private as the program makes it."""
    path.touch(0o600)
    path.write_bytes(_content())
    return path
