"""A job's own process: reads its parameters as JSON from standard input, reports progress as lines of JSON."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import signal
import sys
from pathlib import Path
from types import FrameType
from typing import Any

from monitor.errors import TellableError
from monitor.jobs.tasks import TASKS, JobContext
from monitor.store import DataFolder, open_store

NICE = 10
"""A job gives way to whatever measures on the same processors."""


class _Ended(BaseException):
    """The job is to be broken off; what it has begun is put away on the way out."""


def main() -> int:
    """Do one job and return the exit status."""
    with contextlib.suppress(OSError):
        os.nice(NICE)
    out = sys.stdout
    # Whatever a library prints must not be taken for a line of progress.
    sys.stdout = sys.stderr

    def say(line: dict[str, Any]) -> None:
        out.write(json.dumps(line, ensure_ascii=True, default=str) + "\n")
        out.flush()

    def end(_number: int, _frame: FrameType | None) -> None:
        raise _Ended

    def tell(share: float, stage: str, words: str, *, to_the_end: bool = False) -> None:
        if to_the_end:
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
        say({"progress": share, "stage": stage, "words": words, "to_the_end": to_the_end})

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C at the terminal is for the monitor, which ends its jobs
    given = json.load(sys.stdin)
    try:
        folder = DataFolder.open(given["data"])
        with open_store(folder.database) as store:
            context = JobContext(
                kind=given["kind"],
                parameters=given["parameters"],
                folder=folder,
                store=store,
                place=Path(given["place"]),
                who=given["who"],
                version=given["version"],
            )
            made = TASKS[context.kind](context, tell)
        # Done is done: a cancel that comes now comes too late.
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
    except TellableError as error:
        say({"error": error.as_dict()})
        return 1
    except _Ended:
        return 3
    except Exception:
        logging.getLogger(__name__).exception("a job")
        return 2
    say({"outcome": made.outcome, "file": made.file, "media_type": made.media_type})
    return 0


if __name__ == "__main__":
    os.umask(0o077)
    sys.exit(main())
