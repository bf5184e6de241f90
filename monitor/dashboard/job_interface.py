"""Interface of the job queue: long work as jobs that can be watched, cancelled and downloaded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal, Protocol

from monitor.dashboard.security.refusals import Refusal

JobKind = Literal["report", "export", "archive", "import", "reanalysis", "erase", "backup"]
JobState = Literal["waiting", "running", "done", "failed", "cancelled"]

NEEDED_ROLE: dict[str, Literal["coach", "owner"]] = {
    "report": "coach",
    "export": "coach",
    "archive": "owner",
    "import": "owner",
    "reanalysis": "owner",
    "erase": "owner",
    "backup": "owner",
}
"""Who may start a job, see it, and download its result."""


class TooManyJobs(Refusal):
    """As many jobs wait as are let wait."""

    code = "too-many-jobs"
    status = 429

    def __init__(self, most: int) -> None:
        super().__init__(
            what=f"{most} jobs are waiting already.",
            means="This one was not started.",
            do="Wait until one of them is done, or cancel one.",
        )


class NoResult(Refusal):
    """A job has no file: it is not done, did not succeed, makes none, or was done too long ago."""

    code = "no-result"
    status = 409

    def __init__(self, job_id: str, why: str) -> None:
        super().__init__(
            what=f"The job {job_id} has no file: {why}.",
            means="Nothing was sent.",
            do="Look at the job's state; start it again if its file is gone.",
        )


class NotCancellable(Refusal):
    """A job has passed the point from which it is done to its end, or has ended."""

    code = "not-cancellable"
    status = 409

    def __init__(self, job_id: str) -> None:
        super().__init__(
            what=f"The job {job_id} cannot be cancelled any more.",
            means="It goes on to its end, or has come there.",
            do="Wait for its end; what it has done stands.",
        )


class NameDiffers(Refusal):
    """A person is to be erased, but the typed name is not theirs."""

    code = "name-differs"
    status = 409

    def __init__(self) -> None:
        super().__init__(
            what="The name that was typed is not the person's.",
            means="Nothing was erased.",
            do="Type the name exactly as the person's page shows it.",
        )


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job's result: a file to download within the hour."""

    name: str
    media_type: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Job:
    """A piece of long work.

    Attributes
    ----------
    progress : float
        From 0 to 1; it never goes back.
    stage : str
        A stable word for what is being done, for pages in other languages; ``words`` says the same in English.
    subject : str or None
        Uid of the person that it is about.
    cancellable : bool
        False once the job is over, or what it does can no longer be left half.
    outcome : dict
        What came of it in numbers, such as the receipt of an erasure; empty until it is done.
    error : dict or None
        Why it failed, in the common error format.
    """

    id: str
    kind: JobKind
    state: JobState
    progress: float
    stage: str
    words: str
    requested_by: str
    subject: str | None
    requested_utc_ms: int
    ended_utc_ms: int | None
    cancellable: bool
    file: JobFile | None
    outcome: dict[str, Any]
    error: dict[str, str] | None


class Jobs(Protocol):
    """The job queue, as far as a screen may use it."""

    def start(self, kind: JobKind, parameters: Mapping[str, Any], *, who: str, subject: str | None = None) -> Job:
        """Queue a job; ``TooManyJobs`` when too many wait."""
        ...

    def all(self) -> list[Job]:
        """Return jobs, newest first."""
        ...

    def get(self, job_id: str) -> Job | None:
        """Return a job."""
        ...

    def cancel(self, job_id: str) -> Job:
        """End a job; ``NotCancellable`` where that cannot be."""
        ...

    def file(self, job_id: str) -> Path:
        """Return where a job's file lies; ``NoResult`` where there is none."""
        ...

    def new_upload(self) -> tuple[str, BinaryIO]:
        """Return a name for something that a screen sends, and the open file for it."""
        ...

    def drop_upload(self, name: str) -> None:
        """Throw an upload away."""
        ...

    def upload(self, name: str) -> Path | None:
        """Return where an upload lies, None where there is none of that name."""
        ...
