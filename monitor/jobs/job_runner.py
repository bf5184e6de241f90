"""Takes long work, does one piece after the other in processes that give way, and keeps what came of it for a while."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import re
import secrets
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO

from monitor.dashboard.job_interface import Job, JobFile, JobKind, NoResult, NotCancellable, TooManyJobs
from monitor.errors import MonitorError, TellableError
from monitor.store import DataFolder
from monitor.store.files.folder import private_file, private_folder

_log = logging.getLogger(__name__)

COMMAND = (sys.executable, "-P", "-m", "monitor.jobs")
MOST_WAITING = 8
MOST_JOBS = 30
"""Jobs that are remembered once they are over."""

FILE_LASTS_S = 3600.0
LEAST_ROOM_BYTES = 256 << 20
"""A job ends before the disk is so full that the day's journals could want for room."""

SECONDS_TO_END = 10.0
TIME_LIMIT_S = {
    "report": 300.0,
    "export": 1800.0,
    "archive": 3600.0,
    "import": 3600.0,
    "reanalysis": 12 * 3600.0,
    "erase": 1800.0,
    "backup": 6 * 3600.0,
}

LetGo = Callable[[str, Callable[[], bool]], AbstractContextManager[None]]
"""Takes a person off the rig and keeps them off while the context lasts; the callable says whether to give up."""


class JobStopped(MonitorError):
    """A job came to its limit of time or of room."""

    code = "job-stopped"


class JobFailed(MonitorError):
    """A job's process ended by a fault of this program."""

    code = "job-failed"


class JobRunner:
    """Jobs of one data folder. Every method may be called from any thread.

    Parameters
    ----------
    folder : DataFolder
        Files lie in its folder ``work/``, which is emptied now.
    version : str
        Of the program, for what is written.
    let_go : callable, optional
        See ``LetGo``; entered before somebody is erased.
    audit : callable, optional
        Gets who, what and subject of every job that ends.
    command : sequence of str
        Program of a job's process; it speaks as ``monitor.jobs.__main__`` does.
    """

    def __init__(
        self,
        folder: DataFolder,
        *,
        version: str = "",
        let_go: LetGo | None = None,
        audit: Callable[[str, str, str], None] | None = None,
        command: Sequence[str] = COMMAND,
    ) -> None:
        self._folder, self._version, self._let_go, self._audit = folder, version, let_go, audit
        self._command = list(command)
        self._root = folder.root / "work"
        shutil.rmtree(self._root, ignore_errors=True)
        private_folder(self._root / "uploads")
        self._lock = threading.Condition()
        self._jobs: dict[str, Job] = {}
        self._parameters: dict[str, dict[str, Any]] = {}
        self._uploads: dict[str, float] = {}
        self._cancelled: set[str] = set()
        self._process: subprocess.Popen[str] | None = None
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="job_runner", daemon=True)
        self._thread.start()

    def __enter__(self) -> JobRunner:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Break off what is being done and throw away what was made. May be called again."""
        with self._lock:
            self._closing = True
            self._cancelled |= {job.id for job in self._jobs.values() if job.ended_utc_ms is None}
            self._lock.notify_all()
        self._thread.join()
        shutil.rmtree(self._root, ignore_errors=True)

    # What a screen asks

    def start(self, kind: JobKind, parameters: Mapping[str, Any], *, who: str, subject: str | None = None) -> Job:
        """Queue a job and return it."""
        job = Job(
            id=f"j-{secrets.token_hex(6)}",
            kind=kind,
            state="waiting",
            progress=0.0,
            stage="waiting",
            words="Waiting for its turn",
            requested_by=who,
            subject=subject,
            requested_utc_ms=_now_ms(),
            ended_utc_ms=None,
            cancellable=True,
            file=None,
            outcome={},
            error=None,
        )
        with self._lock:
            if sum(one.ended_utc_ms is None for one in self._jobs.values()) >= MOST_WAITING:
                raise TooManyJobs(MOST_WAITING)
            self._tidy()
            self._jobs[job.id], self._parameters[job.id] = job, dict(parameters)
            self._lock.notify_all()
        return job

    def all(self) -> list[Job]:
        """Return jobs, newest first."""
        with self._lock:
            self._tidy()
            return list(reversed(self._jobs.values()))

    def get(self, job_id: str) -> Job | None:
        """Return a job, None where there is none of that name."""
        with self._lock:
            self._tidy()
            return self._jobs.get(job_id)

    def wait(self, job_id: str, within_s: float) -> Job:
        """Wait until a job is over and return it as it is then, or as it is after so long."""
        with self._lock:
            self._lock.wait_for(lambda: self._jobs[job_id].ended_utc_ms is not None, within_s)
            return self._jobs[job_id]

    def cancel(self, job_id: str) -> Job:
        """End a job that waits or runs.

        Raises
        ------
        NotCancellable
        """
        with self._lock:
            job = self._jobs.get(job_id)
            if job is None or not job.cancellable:
                raise NotCancellable(job_id[:40])
            self._cancelled.add(job_id)
            if job.state == "waiting":
                self._change(job_id, state="cancelled", words="Cancelled", ended_utc_ms=_now_ms(), cancellable=False)
            self._lock.notify_all()
            return self._jobs[job_id]

    def file(self, job_id: str) -> Path:
        """Return where a job's file lies.

        Raises
        ------
        NoResult
        """
        with self._lock:
            self._tidy()
            job = self._jobs.get(job_id)
            if job is None or job.state != "done":
                raise NoResult(job_id[:40], "it is not done" if job is not None else "there is no such job")
            if job.file is None:
                raise NoResult(job_id, "it makes none, or it was done more than an hour ago")
            return self._root / job_id / job.file.name

    def new_upload(self) -> tuple[str, BinaryIO]:
        """Return a name for something that a screen sends, and the open file for it."""
        with self._lock:
            self._tidy()
            if len(self._uploads) >= MOST_WAITING:
                raise TooManyJobs(MOST_WAITING)
            name = f"u-{secrets.token_hex(8)}"
            self._uploads[name] = time.monotonic()
        path = self._root / "uploads" / name
        private_file(path)
        return name, path.open("wb")

    def drop_upload(self, name: str) -> None:
        """Throw an upload away."""
        with self._lock:
            if self._uploads.pop(name, None) is not None:
                (self._root / "uploads" / name).unlink(missing_ok=True)

    def upload(self, name: str) -> Path | None:
        """Return where an upload lies."""
        with self._lock:
            known = name in self._uploads and re.fullmatch(r"u-[0-9a-f]{16}", name)
            return self._root / "uploads" / name if known else None

    # The runner's thread

    def _run(self) -> None:
        while True:
            with self._lock:
                self._lock.wait_for(lambda: self._closing or self._next() is not None)
                if self._closing:
                    return
                job = self._next()
                assert job is not None
                parameters = self._parameters[job.id]
                self._change(job.id, state="running", words="Starting")
            try:
                self._do(job, parameters)
            except TellableError as error:
                self._over(job.id, error=error)
            except Exception as error:
                _log.exception("the job %s", job.id)
                self._over(job.id, error=_failed(repr(error)))

    def _next(self) -> Job | None:
        return next((job for job in self._jobs.values() if job.state == "waiting"), None)

    def _do(self, job: Job, parameters: dict[str, Any]) -> None:
        if job.kind != "erase" or self._let_go is None:
            self._in_process(job, parameters)
            return
        uid = parameters["person_uid"]
        with self._lock:
            self._change(job.id, stage="leaving", words="Waiting until the person is off the rig")
        with self._let_go(uid, lambda: job.id in self._cancelled):
            if job.id in self._cancelled:
                self._over(job.id)
                return
            self._in_process(job, parameters)

    def _in_process(self, job: Job, parameters: dict[str, Any]) -> None:
        place = self._root / job.id
        private_folder(place)
        order = {
            "kind": job.kind,
            "parameters": parameters,
            "data": str(self._folder.root),
            "place": str(place),
            "who": job.requested_by,
            "version": self._version,
        }
        process = subprocess.Popen(  # noqa: S603 - our own program
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            start_new_session=True,
        )
        over = threading.Event()
        stopped: list[JobStopped] = []
        watch = threading.Thread(target=self._watch, args=(job, process, over, stopped), name="job_runner-watch")
        watch.start()
        last: dict[str, Any] = {}
        try:
            assert process.stdin is not None
            assert process.stdout is not None
            with contextlib.suppress(BrokenPipeError):
                process.stdin.write(json.dumps(order))
                process.stdin.close()
            for line in process.stdout:
                last = json.loads(line)
                if "progress" in last:
                    self._on_progress(job.id, last)
            process.wait()
        finally:
            over.set()
            watch.join()
            process.kill()
            process.wait()
        if process.returncode == 0 and "outcome" in last:
            if job.kind == "erase":
                self._forget(parameters["person_uid"], but=job.id)
            self._over(job.id, made=last)
        elif stopped:
            self._over(job.id, error=stopped[0])
        elif "error" in last:
            self._over(job.id, error=last["error"])
        elif job.id in self._cancelled:
            self._over(job.id)
        else:
            self._over(job.id, error=_failed(f"its process ended with {process.returncode}"))

    def _watch(
        self, job: Job, process: subprocess.Popen[str], over: threading.Event, stopped: list[JobStopped]
    ) -> None:
        """End the job's process when it is cancelled, takes too long or leaves too little room."""
        ends_s, terminated_s = time.monotonic() + TIME_LIMIT_S[job.kind], None
        while not over.wait(0.2):
            now_s = time.monotonic()
            if terminated_s is not None:
                if now_s - terminated_s > SECONDS_TO_END and self._breakable(job.id):
                    process.kill()
                continue
            why = self._why_end(job, ends_s, now_s)
            if why is not None:
                terminated_s = now_s
                if isinstance(why, JobStopped):
                    stopped.append(why)
                with contextlib.suppress(OSError):
                    process.terminate()

    def _why_end(self, job: Job, ends_s: float, now_s: float) -> bool | JobStopped | None:
        if not self._breakable(job.id):
            return None
        if job.id in self._cancelled:
            return True
        if now_s > ends_s:
            return JobStopped(
                what=f"This took longer than {TIME_LIMIT_S[job.kind] / 60:.0f} minutes and was ended.",
                means="Nothing was left half; measuring went on all the time.",
                do="Ask for less at once, or use the command line, which has no limit.",
            )
        if job.kind != "erase" and shutil.disk_usage(self._root).free < LEAST_ROOM_BYTES:
            return JobStopped(
                what=f"Less than {LEAST_ROOM_BYTES >> 20} MB are free on the disk; this was ended.",
                means="The room is kept for measuring, which goes on.",
                do="Free some space, then start it again.",
            )
        return None

    def _breakable(self, job_id: str) -> bool:
        with self._lock:
            return self._jobs[job_id].cancellable

    def _on_progress(self, job_id: str, line: dict[str, Any]) -> None:
        with self._lock:
            job = self._jobs[job_id]
            share = max(job.progress, min(1.0, float(line["progress"])))
            keeps_on = job.cancellable and not line["to_the_end"]
            self._change(job_id, progress=share, stage=line["stage"], words=line["words"], cancellable=keeps_on)

    def _over(
        self,
        job_id: str,
        made: dict[str, Any] | None = None,
        error: TellableError | dict[str, str] | None = None,
    ) -> None:
        """Keep how a job ended: with what it made, by an error, or else by being cancelled."""
        failure = error.as_dict() if isinstance(error, TellableError) else error
        state = "done" if made is not None else "failed" if failure is not None else "cancelled"
        words = {"done": "Done", "failed": "Not done", "cancelled": "Cancelled"}[state]
        place, file = self._root / job_id, None
        if made is not None and made.get("file"):
            path = place / made["file"]
            file = JobFile(path.name, made["media_type"], path.stat().st_size)
        if file is None:
            shutil.rmtree(place, ignore_errors=True)
        with self._lock:
            job, parameters = self._jobs[job_id], self._parameters.pop(job_id, {})
        if self._audit is not None:
            try:
                self._audit(job.requested_by, f"job {job.kind}: {state}", job.subject or job_id)
            except TellableError as trouble:
                _log.error("The end of the job %s was not put into the audit log: %s", job_id, trouble)
        if job.kind == "import":
            self.drop_upload(Path(parameters.get("path", "")).name)
        with self._lock:
            self._change(
                job_id,
                state=state,
                progress=1.0 if state == "done" else job.progress,
                stage=state,
                words=words,
                ended_utc_ms=_now_ms(),
                cancellable=False,
                file=file,
                outcome=made["outcome"] if made is not None else {},
                error=failure,
            )

    def _change(self, job_id: str, **fields: Any) -> None:
        self._jobs[job_id] = replace(self._jobs[job_id], **fields)
        self._lock.notify_all()

    def _forget(self, uid: str, but: str) -> None:
        """Throw away what earlier jobs have made of somebody who is erased."""
        with self._lock:
            for job in list(self._jobs.values()):
                # An export may hold anybody's holds.
                if job.id != but and (job.subject == uid or job.kind in ("export", "reanalysis")):
                    shutil.rmtree(self._root / job.id, ignore_errors=True)
                    self._jobs[job.id] = replace(job, file=None)

    def _tidy(self) -> None:
        """Throw away files that are too old, jobs that are too many, uploads that nobody took."""
        now_ms = _now_ms()
        over = [job for job in self._jobs.values() if job.ended_utc_ms is not None]
        for number, job in enumerate(reversed(over)):
            if number >= MOST_JOBS:
                shutil.rmtree(self._root / job.id, ignore_errors=True)
                del self._jobs[job.id]
            elif job.file is not None and now_ms - (job.ended_utc_ms or 0) > FILE_LASTS_S * 1e3:
                shutil.rmtree(self._root / job.id, ignore_errors=True)
                self._jobs[job.id] = replace(job, file=None)
        waiting = {Path(parameters.get("path", "")).name for parameters in self._parameters.values()}
        for name, begun_s in list(self._uploads.items()):
            if name not in waiting and time.monotonic() - begun_s > FILE_LASTS_S:
                del self._uploads[name]
                with contextlib.suppress(OSError):
                    os.unlink(self._root / "uploads" / name)


def _failed(why: str) -> JobFailed:
    return JobFailed(
        what=f"This could not be done by a fault of this program: {why}.",
        means="Measuring and recording go on; what was kept is untouched, as far as nothing else is said.",
        do="Try it again; if it comes back, keep the log and report it.",
    )


def _now_ms() -> int:
    return time.time_ns() // 1_000_000
