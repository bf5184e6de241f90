"""REST: guided zero, calibration and check of the rig, one procedure at a time, and stored results of earlier ones."""

from __future__ import annotations

import logging
import re
import threading
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel, Field

from monitor.dashboard.interfaces import StoreReader
from monitor.dashboard.security.authorization import who_asks
from monitor.dashboard.views.coaching_models import Given
from monitor.dashboard.views.problems import NotThere
from monitor.health.check_history import FOLDER, read_check
from monitor.health.ratings import HOLDS_CONSIDERED, HEAVIEST_kg, largest_peak_N
from monitor.health.zero import READ_S
from monitor.newtons.calibrating.outcome import Outcome
from monitor.newtons.calibrating.plan import plan_from_dict
from monitor.newtons.calibrating.standard_plan import plan_answers
from monitor.newtons.calibration import calibration_to_dict
from monitor.procedures.procedure_manager import ProcedureManager
from monitor.rig import write_whole

_log = logging.getLogger(__name__)

MOST_MASSES = 12
STAMP = re.compile(r"\d{4}-\d{2}-\d{2}T\d{6}Z")
"""Name of a stored check or calibration; nothing else is looked up on disk."""

PDF = "application/pdf"


class ZeroGiven(Given):
    """How long the empty rig is read."""

    seconds: float = Field(default=READ_S, ge=3, le=600)


class CalibrationGiven(Given):
    """Known masses and where the rig stands; the plan of the loads follows from the rig's shape.

    ``tolerance_kg`` is the half-width of what each mass may be off; null: as unweighed gym plates. ``fresh`` leaves the
    last calibration aside, after a cell was changed or turned.
    """

    parts: Annotated[list[Literal["bar", "platform"]], Field(min_length=1, max_length=2)]
    masses_kg: Annotated[list[Annotated[float, Field(gt=0, le=500)]], Field(min_length=1, max_length=MOST_MASSES)]
    tolerance_kg: float | None = Field(default=None, gt=0, le=50)
    latitude_deg: float | None = Field(default=None, ge=-90, le=90)
    height_m: float | None = Field(default=None, ge=-500, le=9000)
    temperature_degC: float | None = Field(default=None, ge=-40, le=60)
    dwell_s: float | None = Field(default=None, ge=0, le=3600)
    fresh: bool = False


class CheckGiven(Given):
    """How long the empty rig is watched, for whom ratings are judged, and whether somebody stands and hangs."""

    watch_s: float = Field(default=60.0, ge=10, le=3600)
    heaviest_kg: float = Field(default=HEAVIEST_kg, ge=20, le=300)
    with_person: bool = True


class AnswerGiven(Given):
    """The answer to a step: it hangs (``next``), repeat the last one (``back``), do not wait (``skip``).

    ``step`` is the step that the screen showed: a late answer is ignored.
    """

    action: Literal["next", "back", "skip"]
    step: int = Field(ge=0, le=10_000)


class MassesGiven(Given):
    """Corrected masses in kilograms, by their names in the procedure's ``masses``."""

    masses_kg: Annotated[
        dict[Annotated[str, Field(max_length=200)], Annotated[float, Field(gt=0, le=500)]],
        Field(min_length=1, max_length=MOST_MASSES),
    ]


class KeepGiven(Given):
    """Accept what was found."""

    although_somebody_hangs: bool = Field(default=False, strict=True)


class SavedModel(BaseModel):
    """Name of what was saved; ``in_force``: it is a calibration, which applies from now on."""

    id: str
    in_force: bool


class InForceModel(BaseModel):
    """The calibration in force, or null; ``kept``: all stored ones, newest first."""

    calibration: dict[str, Any] | None
    saved: list[str]
    sheets: list[str]


class SavedCheckModel(BaseModel):
    """One earlier check."""

    id: str
    at: str
    outcome: str
    bad: list[str]


class _Sheets:
    """Draws calibration sheets in the background: on a small board a sheet takes too long for a response."""

    def __init__(self) -> None:
        self._drawing: dict[str, threading.Thread] = {}

    def draw(self, name: str, path: Path, outcome: Outcome) -> None:
        """Begin to draw a sheet."""
        self._drawing[name] = threading.Thread(target=self._draw, args=(name, path, outcome), name="calibration sheet")
        self._drawing[name].start()

    def wait(self, name: str) -> None:
        """Wait until a sheet that is being drawn is there."""
        drawing = self._drawing.get(name)
        if drawing is not None:
            drawing.join()

    def _draw(self, name: str, path: Path, outcome: Outcome) -> None:
        from monitor.reports.calibration_sheet import sheet_pdf

        try:
            write_whole(path, sheet_pdf(outcome))
        except Exception:
            _log.exception("The sheet of calibration %s was not written; the calibration itself is in force.", name)


def procedure_routes(procedures: ProcedureManager, store: StoreReader) -> APIRouter:
    """Return the routes ``/rig/procedure``, ``/rig/calibrations`` and ``/rig/checks``."""
    router = APIRouter(tags=["rig"])
    sheets = _Sheets()

    @router.get("/rig/procedure")
    def state() -> dict[str, Any] | None:
        """Return the state of the procedure in progress, or null; clients poll it about twice a second.

        A procedure that is not polled for five minutes, or waits an hour for an answer, is abandoned. Nothing is
        saved before it is accepted.
        """
        return procedures.state()

    @router.post("/rig/procedure/zero", status_code=201)
    def zero(request: Request, given: ZeroGiven) -> dict[str, Any]:
        """Begin to read a new zero."""
        return procedures.zero(who_asks(request), given.seconds)

    @router.post("/rig/procedure/calibration", status_code=201)
    def calibration(request: Request, given: CalibrationGiven) -> dict[str, Any]:
        """Begin a guided calibration."""
        more = {k: v for k in ("height_m", "temperature_degC", "dwell_s") if (v := getattr(given, k)) is not None}
        answers = plan_answers(
            procedures.rig, given.parts, given.masses_kg, given.tolerance_kg, given.latitude_deg, **more
        )
        return procedures.calibrate(who_asks(request), plan_from_dict(answers, procedures.rig), fresh=given.fresh)

    @router.post("/rig/procedure/check", status_code=201)
    def check(request: Request, given: CheckGiven) -> dict[str, Any]:
        """Begin a check of the rig."""
        return procedures.check(
            who_asks(request),
            watch_s=given.watch_s,
            heaviest_kg=given.heaviest_kg,
            with_person=given.with_person,
            largest_peak_N=largest_peak_N(store.list_holds(HOLDS_CONSIDERED, 0)),
        )

    @router.post("/rig/procedure/answer")
    def answer(given: AnswerGiven) -> dict[str, Any]:
        """Answer the running step."""
        return procedures.act(given.action, given.step)

    @router.patch("/rig/procedure/masses")
    def masses(request: Request, given: MassesGiven) -> dict[str, Any]:
        """Correct masses of the running calibration; readings are kept, refusals re-evaluated."""
        return procedures.correct(who_asks(request), given.masses_kg)

    @router.post("/rig/procedure/accept", response_model=SavedModel)
    def accept(request: Request, given: KeepGiven) -> SavedModel:
        """Save the result; a new zero or calibration applies from now on, earlier holds keep theirs."""
        procedure = procedures.calibration_procedure
        outcome = procedure.outcome if procedure is not None else None
        saved = procedures.accept(who_asks(request), although_somebody_hangs=given.although_somebody_hangs)
        if outcome is not None and saved.calibration is not None:
            sheets.draw(saved.id, saved.files["calibration"].with_suffix(".pdf"), outcome)
        return SavedModel(id=saved.id, in_force=saved.calibration is not None)

    @router.delete("/rig/procedure", status_code=204)
    def cancel(request: Request) -> Response:
        """Abandon the procedure; nothing is saved."""
        procedures.cancel(who_asks(request))
        return Response(status_code=204)

    _stored_routes(router, procedures, sheets)
    return router


def _stored_routes(router: APIRouter, procedures: ProcedureManager, sheets: _Sheets) -> None:
    """Add the routes that read stored results."""
    binary: dict[int | str, dict[str, Any]] = {
        200: {"content": {PDF: {"schema": {"type": "string", "format": "binary"}}}}
    }

    @router.get("/rig/calibrations", response_model=InForceModel)
    def calibrations() -> InForceModel:
        """Return the calibration in force and all stored ones."""
        names = sorted(
            (p.stem for p in procedures.calibrations.glob("*.toml") if STAMP.fullmatch(p.stem)), reverse=True
        )
        current = procedures.calibration
        return InForceModel(
            calibration=None if current is None else calibration_to_dict(current),
            saved=names,
            sheets=[name for name in names if (procedures.calibrations / f"{name}.pdf").is_file()],
        )

    @router.get("/rig/calibrations/{name}/sheet", response_class=FileResponse, responses=binary)
    def sheet(name: str) -> FileResponse:
        """Return a calibration's sheet (PDF)."""
        sheets.wait(name)
        path = _file(procedures.calibrations, name, ".pdf", "calibration sheet")
        return FileResponse(path, media_type=PDF, filename=f"calibration-{name}.pdf")

    @router.get("/rig/checks", response_model=list[SavedCheckModel])
    def checks() -> list[SavedCheckModel]:
        """List the stored checks, newest first."""
        current = []
        for name in sorted((path.stem for path in (procedures.root / FOLDER).glob("*.json")), reverse=True):
            report = read_check(procedures.root, name) if STAMP.fullmatch(name) else None
            if report is not None:
                bad = [str(v.get("title", "")) for v in report["verdicts"] if v.get("outcome") == "bad"]
                current.append(
                    SavedCheckModel(id=name, at=str(report.get("at", "")), outcome=str(report["outcome"]), bad=bad)
                )
        return current

    @router.get("/rig/checks/{name}")
    def one_check(name: str) -> dict[str, Any]:
        """Return a stored check."""
        report = read_check(procedures.root, name) if STAMP.fullmatch(name) else None
        if report is None:
            raise NotThere(f"check {name[:40]!r}")
        return report

    @router.get("/rig/checks/{name}/page", response_class=FileResponse, responses={200: {"content": {"text/html": {}}}})
    def check_page(name: str) -> FileResponse:
        """Return a stored check as a printable page."""
        path = _file(procedures.root / FOLDER, name, ".html", "check")
        return FileResponse(path, media_type="text/html", filename=f"check-{name}.html")


def _file(folder: Path, name: str, suffix: str, what: str) -> Path:
    path = folder / f"{name}{suffix}"
    if not STAMP.fullmatch(name) or not path.is_file():
        raise NotThere(f"{what} {name[:40]!r}")
    return path
