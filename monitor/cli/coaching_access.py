"""Opens the coaching over a data folder for a command."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.coaching.coaching_service import CoachingService

DATA_HELP = "Data folder; your own default folder if left out."
PERSON_HELP = "A person's uid, or the name if nobody else has it."


@contextlib.contextmanager
def open_coaching(data: Path | None) -> Iterator[CoachingService]:
    """Open the store of a data folder and yield the coaching over it."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.store import DataFolder, open_store

    with open_store(DataFolder.open(data).database) as store:
        yield CoachingService(store)
