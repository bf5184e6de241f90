"""REST: long work as jobs: start, watch, cancel, download the file."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse
from pydantic import AfterValidator, BaseModel, Field, StrictBool, model_validator
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from monitor.dashboard.interfaces import Coach
from monitor.dashboard.job_interface import NEEDED_ROLE, Job, JobKind, Jobs, NameDiffers
from monitor.dashboard.security.authorization import PRINCIPAL, Principal, who_asks
from monitor.dashboard.security.refusals import NotYourRole, TooLarge
from monitor.dashboard.views.coaching_models import Given
from monitor.dashboard.views.models import Day
from monitor.dashboard.views.problems import InvalidRequest, NotThere
from monitor.exports.formats import FORMATS, format_named

MOST_HOLDS = 2000
"""Most holds of one export."""

MOST_UPLOAD_BYTES = 4 << 30

_Uid = Annotated[str, Field(min_length=1, max_length=80)]


def usable_place(text: str) -> str:
    """Return a place on this machine as it was given; raises ``ValueError`` unless it is an absolute path."""
    if not os.path.isabs(text) or "\0" in text or ".." in Path(text).parts:
        raise ValueError("a place is an absolute path without ..")
    return text


class ReportGiven(Given):
    """Whose report, and of which days (both included); all days without them."""

    person_uid: _Uid
    first: Day | None = None
    last: Day | None = None

    @model_validator(mode="after")
    def _in_order(self) -> ReportGiven:
        if self.first is not None and self.last is not None and self.first > self.last:
            raise ValueError("the period ends before it begins")
        return self


class ArchiveGiven(Given):
    """Whose archive."""

    person_uid: _Uid


class ImportGiven(Given):
    """An archive that was sent to ``/api/uploads``; ``although_erased`` brings back somebody who was erased here."""

    upload: Annotated[str, Field(max_length=40)]
    although_erased: StrictBool = False


class ReanalysisGiven(Given):
    """Sessions whose holds have an older measurement version, or all of them."""

    everything: StrictBool = False


class ExportGiven(Given):
    """Chosen holds. A format of curves only is written as such; the others are the table, with ``curves`` both."""

    uids: Annotated[list[_Uid], Field(min_length=1, max_length=MOST_HOLDS)]
    form: Annotated[str, Field(max_length=40, json_schema_extra={"enum": list(FORMATS)})] = "csv"
    curves: StrictBool = False


class EraseGiven(Given):
    """Who is to be erased, and their name, typed as confirmation."""

    person_uid: _Uid
    name: Annotated[str, Field(max_length=120)]


class BackupGiven(Given):
    """An existing folder, such as a stick's; ``keep``: number of backups to keep."""

    into: Annotated[str, Field(min_length=1, max_length=1000, pattern="^/"), AfterValidator(usable_place)]
    keep: Annotated[int, Field(ge=1, le=1000)] = 7


class UploadModel(BaseModel):
    """Name of the upload, for the job that uses it; uploads expire after an hour."""

    upload: str
    bytes: int


class ExportFormatModel(BaseModel):
    """A format of exported files. ``holds``, ``curves``: what it can hold. ``missing``: why it cannot be written."""

    name: str
    title: str
    holds: bool
    curves: bool
    missing: str | None


ZIP_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}},
    }
}


# Ruff adds up the branches of the routes inside; each route alone has few.
def job_routes(jobs: Jobs, coach: Coach) -> APIRouter:  # noqa: C901
    """Return the routes ``/jobs``, one to start each kind of job, and ``/uploads``."""
    router = APIRouter(tags=["jobs"])
    coaching = coach.coaching

    def started(request: Request, kind: JobKind, parameters: dict[str, Any], subject: str | None = None) -> Job:
        if subject is not None:
            coaching.person(subject)
        return jobs.start(kind, parameters, who=who_asks(request), subject=subject)

    def mine(request: Request, job_id: str) -> Job:
        job = jobs.get(job_id)
        if job is None:
            raise NotThere(f"job {job_id[:40]!r}")
        if not _reaches(request, job.kind):
            raise NotYourRole(_principal(request).role, NEEDED_ROLE[job.kind])  # type: ignore[union-attr]
        return job

    @router.get("/jobs", response_model=list[Job])
    def every(request: Request) -> list[Job]:
        """List jobs, newest first: those that this visitor may start, too."""
        return [job for job in jobs.all() if _reaches(request, job.kind)]

    @router.get("/jobs/{job_id}", response_model=Job)
    def one(request: Request, job_id: str) -> Job:
        """Tell how far a job is."""
        return mine(request, job_id)

    @router.post("/jobs/{job_id}/cancel", response_model=Job)
    def cancel(request: Request, job_id: str) -> Job:
        """End a job. Its partial work is discarded; a job that is not ``cancellable`` runs to its end."""
        return jobs.cancel(mine(request, job_id).id)

    @router.get(
        "/jobs/{job_id}/file",
        response_class=FileResponse,
        responses={200: {"content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}},
    )
    def file(request: Request, job_id: str) -> FileResponse:
        """Fetch what came of a job."""
        job = mine(request, job_id)
        path = jobs.file(job.id)
        media_type = job.file.media_type if job.file is not None else "application/octet-stream"
        coaching.store.audit.add(who_asks(request), f"fetched the file of a job: {job.kind}", job.subject or job.id)
        # What a browser keeps would outlive an erasure.
        uncached = {"Cache-Control": "no-store"}
        return FileResponse(path, media_type=media_type, filename=path.name, headers=uncached)

    _starters(router, started, jobs, coach)

    @router.post("/uploads", response_model=UploadModel, status_code=201, openapi_extra=ZIP_BODY)
    async def upload(request: Request) -> UploadModel:
        """Upload an archive of a person (``application/zip``) for the job ``import``."""
        name, out = await run_in_threadpool(jobs.new_upload)
        size = 0
        try:
            with out:
                async for piece in request.stream():
                    size += len(piece)
                    if size > MOST_UPLOAD_BYTES:
                        raise TooLarge(MOST_UPLOAD_BYTES)
                    await run_in_threadpool(out.write, piece)
            if size == 0:
                raise InvalidRequest("body: it is empty")
        except ClientDisconnect:
            await run_in_threadpool(jobs.drop_upload, name)
            raise InvalidRequest("body: it was broken off") from None
        except BaseException:
            await run_in_threadpool(jobs.drop_upload, name)
            raise
        return UploadModel(upload=name, bytes=size)

    return router


def _starters(router: APIRouter, started: Callable[..., Job], jobs: Jobs, coach: Coach) -> None:
    """Add the routes that start jobs."""

    @router.post("/jobs/report", response_model=Job, status_code=202)
    def report(request: Request, given: ReportGiven) -> Job:
        """Write a person's report; its file is a PDF."""
        return started(request, "report", given.model_dump(mode="json"), given.person_uid)

    @router.get("/export-formats", response_model=list[ExportFormatModel])
    def export_formats() -> list[ExportFormatModel]:
        """List the export formats."""
        return [
            ExportFormatModel(
                name=name,
                title=one.title,
                holds=one.holds is not None,
                curves=one.curve is not None,
                missing=one.missing,
            )
            for name, one in FORMATS.items()
        ]

    @router.post("/jobs/export", response_model=Job, status_code=202)
    def export(request: Request, given: ExportGiven) -> Job:
        """Export chosen holds; its file is the table, or a zip file with curves."""
        format_named(given.form)
        return started(request, "export", given.model_dump(mode="json"))

    @router.post("/jobs/archive", response_model=Job, status_code=202)
    def archive(request: Request, given: ArchiveGiven) -> Job:
        """Export everything stored about a person as one zip file (owner)."""
        return started(request, "archive", given.model_dump(mode="json"), given.person_uid)

    @router.post("/jobs/import", response_model=Job, status_code=202)
    def take(request: Request, given: ImportGiven) -> Job:
        """Import the person from an archive uploaded to ``/api/uploads`` (owner)."""
        path = jobs.upload(given.upload)
        if path is None:
            raise NotThere(f"upload {given.upload!r}")
        return started(request, "import", {"path": str(path), "although_erased": given.although_erased})

    @router.post("/jobs/reanalysis", response_model=Job, status_code=202)
    def reanalysis(request: Request, given: ReanalysisGiven) -> Job:
        """Re-measure stored holds from their journals (owner); its file lists the differences."""
        return started(request, "reanalysis", given.model_dump(mode="json"))

    @router.post("/jobs/erase", response_model=Job, status_code=202)
    def erase(request: Request, given: EraseGiven) -> Job:
        """Erase a person everywhere (owner); its file is the receipt.

        If the person is on the rig, the job waits until the session in progress has ended, erases it
        with the rest, and the person cannot be chosen again until then.
        """
        if coach.coaching.person(given.person_uid).name.strip() != given.name.strip():
            raise NameDiffers
        return started(request, "erase", {"person_uid": given.person_uid}, given.person_uid)

    @router.post("/jobs/backup", response_model=Job, status_code=202)
    def backup(request: Request, given: BackupGiven) -> Job:
        """Copy everything to an existing folder of this machine, and verify the copy (owner)."""
        if not Path(given.into).is_dir():
            raise InvalidRequest(f"into: {given.into!r} is no folder of this machine")
        return started(request, "backup", given.model_dump(mode="json"))


def _principal(request: Request) -> Principal | None:
    return request.scope.get(PRINCIPAL)


def _reaches(request: Request, kind: str) -> bool:
    principal = _principal(request)
    return principal is None or principal.reaches(NEEDED_ROLE[kind])
