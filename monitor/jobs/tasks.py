"""What can be done as a job: each task runs in a process of its own, reports its progress, and returns what it made."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from monitor.errors import BadInput
from monitor.records.stored_hold import StoredHold
from monitor.store import DataFolder, Store


class ReportProgress(Protocol):
    """Reports how far a task is: a share from 0 to 1, a stable word for the stage, and words for people."""

    def __call__(self, share: float, stage: str, words: str, *, to_the_end: bool = False) -> None:
        """Report; ``to_the_end``: from here on the task must not be broken off."""
        ...


@dataclass(frozen=True, slots=True)
class JobContext:
    """A job's parameters and environment. ``place`` is an empty private folder for the file that comes of it."""

    kind: str
    parameters: Mapping[str, Any]
    folder: DataFolder
    store: Store
    place: Path
    who: str
    version: str


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a task: facts, and a file in the order's place where it makes one."""

    outcome: dict[str, Any]
    file: str | None = None
    media_type: str = ""


def report(context: JobContext, report_progress: ReportProgress) -> Made:
    """Write a person's report as PDF."""
    from monitor.coaching.coaching_service import CoachingService
    from monitor.exports.hold_curve import hold_curve
    from monitor.reports.person_report import CURVES, report_data
    from monitor.reports.typeset import typeset

    parameters, now, looked = context.parameters, dt.datetime.now(dt.UTC), 0

    def curve_of(uid: str) -> Any:
        nonlocal looked
        looked += 1
        report_progress(0.3 + 0.4 * min(1.0, looked / (CURVES + 1)), "curves", "Reading the curves of key holds")
        return hold_curve(context.store, context.folder, uid)

    report_progress(0.05, "reading", "Reading what was done")
    coaching = CoachingService(context.store)
    person = coaching.person(parameters["person_uid"])
    first, last = _day(parameters.get("first")), _day(parameters.get("last"))
    content = report_data(coaching, person.uid, first, last, now, curve_of, context.version)
    report_progress(0.75, "typesetting", "Setting the pages")
    made = typeset(content, now)
    name = f"report-{file_word(person.name)}-{last or now.date()}.pdf"
    (context.place / name).write_bytes(made)
    return Made({"bytes": len(made)}, name, "application/pdf")


def archive(context: JobContext, report_progress: ReportProgress) -> Made:
    """Write everything that is kept of a person into one file."""
    from monitor.exports.archive import write_archive

    report_progress(0.02, "reading", "Reading what is kept")
    person = context.store.people.get(context.parameters["person_uid"])
    name = f"person-{file_word(person.name if person else '')}-{dt.datetime.now(dt.UTC):%Y-%m-%d}.zip"
    made = write_archive(
        context.store,
        context.folder,
        context.parameters["person_uid"],
        context.place / name,
        version=context.version,
        made_at=dt.datetime.now(dt.UTC),
        progress=_bytes(report_progress, 0.1, 0.98, "journals", "Packing raw readings"),
    )
    outcome = {"holds": made.holds, "journals": made.journals, "missing_journals": made.missing_journals}
    return Made(outcome, name, "application/zip")


def take_archive(context: JobContext, report_progress: ReportProgress) -> Made:
    """Put an archive's person into this store."""
    from monitor.exports.archive import import_archive

    report_progress(0.02, "checking", "Checking the archive")

    def keeping() -> None:
        report_progress(0.9, "keeping", "Keeping what is in it", to_the_end=True)

    made = import_archive(
        context.store,
        context.folder,
        Path(context.parameters["path"]),
        who=context.who,
        although_erased=bool(context.parameters.get("although_erased")),
        progress=_bytes(report_progress, 0.02, 0.88, "unpacking", "Checking and unpacking"),
        before_commit=keeping,
    )
    outcome = dataclasses.asdict(made)
    return Made(outcome)


def reanalysis(context: JobContext, report_progress: ReportProgress) -> Made:
    """Measure the holds of all sessions anew."""
    from monitor.reanalysis import reanalyse, sessions_to_measure
    from monitor.records.hold_result import MEASUREMENT_VERSION

    everything = bool(context.parameters.get("everything"))
    whole = sessions_to_measure(context.store, context.folder, everything=everything)
    done = measured = new = gone = 0
    differences: list[dict[str, Any]] = []
    troubles: list[dict[str, str]] = []
    report_progress(0.0, "measuring", f"0 of {whole} sessions measured anew")
    # One process: this one. The measuring of the day keeps the others.
    for one in reanalyse(context.store, context.folder, jobs=1, everything=everything):
        done, measured = done + 1, measured + one.measured
        new, gone = new + one.new, gone + one.gone
        differences += [dataclasses.asdict(d) for d in one.differences]
        if one.trouble:
            troubles.append({"session_uid": one.session_uid, "trouble": one.trouble})
        report_progress(done / max(done, whole), "measuring", f"{done} of {whole} sessions measured anew")
    outcome = {
        "sessions": done,
        "holds": measured,
        "found_new": new,
        "no_more": gone,
        "moved": len(differences),
        "not_measured": len(troubles),
        "measurement_version": MEASUREMENT_VERSION,
    }
    name = "measured-anew.json"
    content = {**outcome, "differences": differences, "troubles": troubles}
    (context.place / name).write_text(json.dumps(content, indent=1), encoding="utf-8")
    return Made(outcome, name, "application/json")


def export(context: JobContext, report_progress: ReportProgress) -> Made:
    """Export chosen holds: their table, or their curves with it in one zip file."""
    from monitor.exports.formats import exported_curve, format_named

    wanted = context.parameters
    name, export_format = str(wanted["form"]), format_named(str(wanted["form"]))
    uids, with_curves = list(wanted["uids"]), bool(wanted.get("curves")) and export_format.curve is not None
    report_progress(0.02, "reading", "Reading the holds")
    holds = [_hold(context.store, uid) for uid in uids]
    table = io.BytesIO()
    if export_format.holds is not None:
        export_format.holds(holds, table, context.version)
        if not with_curves:
            file = f"holds.{export_format.ending}"
            (context.place / file).write_bytes(table.getvalue())
            return Made({"holds": len(holds), "curves": 0}, file, export_format.media_type)
    file, written, missing = f"holds-{name}.zip", 0, []
    with zipfile.ZipFile(context.place / file, "w", zipfile.ZIP_DEFLATED) as made:
        if export_format.holds is not None:
            made.writestr(f"holds.{export_format.ending}", table.getvalue())
        for done, hold in enumerate(holds, start=1):
            curve = exported_curve(context.store, context.folder, hold.uid)
            if curve is None or export_format.curve is None:
                missing.append(hold.uid)
            else:
                content = io.BytesIO()
                export_format.curve(curve, content, context.version)
                made.writestr(f"curves/{hold.uid}.{export_format.ending}", content.getvalue())
                written += 1
            report_progress(0.05 + 0.93 * done / len(holds), "curves", f"{done} of {len(holds)} curves")
        if missing:
            made.writestr("without-a-curve.txt", "Their raw readings are no longer on disk:\n" + "\n".join(missing))
    return Made({"holds": len(holds), "curves": written, "without_a_curve": len(missing)}, file, "application/zip")


def erase(context: JobContext, report_progress: ReportProgress) -> Made:
    """Erase a person everywhere; the receipt is the file that comes of it."""
    from monitor.exports.erasure import erase_everywhere

    report_progress(0.3, "erasing", "Erasing journals and rows", to_the_end=True)
    receipt = erase_everywhere(
        context.store, context.folder, context.parameters["person_uid"], who=context.who, version=context.version
    )
    name = "receipt.json"
    (context.place / name).write_text(json.dumps(receipt, indent=1, ensure_ascii=False), encoding="utf-8")
    return Made(receipt, name, "application/json")


def backup(context: JobContext, report_progress: ReportProgress) -> Made:
    """Copy the data folder to a backup place and read the copy back."""
    from monitor.store.maintenance.backup import make_backup

    report_progress(0.02, "copying", "Copying the database")
    made = make_backup(
        context.folder,
        Path(context.parameters["into"]),
        keep=int(context.parameters["keep"]),
        progress=_bytes(report_progress, 0.05, 0.7, "copying", "Copying raw readings"),
    )
    return Made(
        {
            "place": str(made.place),
            "stamp": made.stamp,
            "files": len(made.entries),
            "bytes": sum(entry.size for entry in made.entries),
            "copied_bytes": made.copied_bytes,
            "missing": len(made.missing),
            "removed": list(made.removed),
        }
    )


TASKS: dict[str, Callable[[JobContext, ReportProgress], Made]] = {
    "report": report,
    "archive": archive,
    "import": take_archive,
    "reanalysis": reanalysis,
    "export": export,
    "erase": erase,
    "backup": backup,
}


def file_word(name: str) -> str:
    """Return a name as part of a file name that means nothing to any system."""
    word = "".join(c if c.isascii() and c.isalnum() else "-" for c in name).strip("-")
    return word[:40] or "person"


def _day(text: str | None) -> dt.date | None:
    return None if text is None else dt.date.fromisoformat(text)


def _bytes(
    report_progress: ReportProgress, low: float, high: float, stage: str, words: str
) -> Callable[[int, int], None]:
    def on_bytes(done: int, whole: int) -> None:
        share = done / whole if whole else 1.0
        report_progress(low + (high - low) * share, stage, f"{words}: {done / 1e6:.0f} of {whole / 1e6:.0f} MB")

    return on_bytes


def _hold(store: Store, uid: str) -> StoredHold:
    hold = store.get_hold(uid)
    if hold is None:
        raise BadInput(
            what=f"There is no hold {uid[:80]!r}.",
            means="Nothing was exported.",
            do="Take uids from the list of holds; it may have changed since the page was loaded.",
        )
    return hold
