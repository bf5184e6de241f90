"""Opens the coach's desk for a command, and writes its answers."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.coaching.coaching_service import CoachingService

DATA_HELP = "Data folder; your own default folder if left out."
PERSON_HELP = "A person's uid, or the name if nobody else has it."


@contextlib.contextmanager
def opened_coaching(data: Path | None) -> Iterator[CoachingService]:
    """Open the store of a data folder and give the desk over it."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.store import DataFolder, open_store

    with open_store(DataFolder.open(data).database) as store:
        yield CoachingService(store)


def read_text(path: Path) -> str:
    """Return a file's text.

    Raises
    ------
    BadInput
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no UTF-8 text"
        raise BadInput(
            what=f"{path} cannot be read: {why}.", means="Nothing was changed.", do="Give the path of a text file."
        ) from error


def write_json(value: Any) -> None:
    """Write a dataclass or plain data as one JSON object."""
    data = dataclasses.asdict(value) if dataclasses.is_dataclass(value) and not isinstance(value, type) else value
    sys.stdout.write(json.dumps(data, allow_nan=False, ensure_ascii=False, indent=2, default=str) + "\n")


def write(text: str) -> None:
    """Write lines for people."""
    sys.stdout.write(text.rstrip("\n") + "\n")
