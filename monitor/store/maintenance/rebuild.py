"""Sessions rebuilt from their journals: those cut off by an interruption, and those the database does not know."""

from __future__ import annotations

import calendar
import logging
import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from firmware_bridge.journal import PACKED, mend
from firmware_bridge.sources import JournalSource, Note
from monitor.analysis import JOURNAL_SUFFIX, Analysis, analyse_file
from monitor.errors import TellableError
from monitor.measures.session_analysis import AnalysisSettings
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.stored_hold import StoredHold
from monitor.store.files.folder import DataFolder, hold_uid
from monitor.store.store import Store

_log = logging.getLogger(__name__)

INTERRUPTED = "interrupted"
FIRST_YEAR = 2025
"""A clock before this year was never set: this program is younger."""

_UID_FORMAT = "%Y%m%dT%H%M%SZ"


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """A session that was measured again from its journal.

    Attributes
    ----------
    session_uid : str
    holds : tuple of StoredHold
        As they are kept now.
    torn_bytes : int
        Bytes behind the journal's last whole frame; they lie in a file beside it.
    problem : str
        Why nothing could be measured; empty where it could.
    """

    session_uid: str
    holds: tuple[StoredHold, ...] = ()
    torn_bytes: int = 0
    problem: str = ""


def rebuild_unfinished(
    store: Store,
    folder: DataFolder,
    analysis_settings: AnalysisSettings,
    journals: Sequence[Path] = (),
    running: Collection[str] = (),
) -> Iterator[Rebuilt]:
    """Measure sessions that never ended, and journals whose session is not in the database.

    Parameters
    ----------
    journals : sequence of Path
        Those to look for in the database, as ``recent_journals`` gives them before anything new begins.
    running : collection of str
        Uids of the sessions that this run has begun: they are unfinished and not interrupted.
    """
    for path in strays(store, journals):
        yield adopt(store, folder, path, analysis_settings)
    for session in store.unfinished_sessions():
        if session.uid not in running:
            path = folder.journal(session.journal)
            yield rebuild_session(store, path, session.uid, session.started_utc_ns, analysis_settings)


def rebuild_session(
    store: Store, path: Path, session_uid: str, started_utc_ns: int, analysis_settings: AnalysisSettings
) -> Rebuilt:
    """Mend a session's journal, measure it, keep its holds marked as interrupted, and end the session.

    May be repeated, and cut off anywhere: holds keep their names, and the session stays unfinished until all are kept.
    """
    ended_ns, torn, problem, holds = started_utc_ns, 0, "", []
    try:
        torn = _mended(path)
        analysis = analyse_file(path, _of_person(store, session_uid, analysis_settings))
        for number, hold in enumerate(analysis.result.holds, start=1):
            measured = _stored(session_uid, started_utc_ns, number, hold, analysis)
            holds.append(store.save_hold(_better(store.corrections.measured(measured.uid), measured)))
        ended_ns += round(float(analysis.curve.t_s[-1] - analysis.curve.t_s[0]) * 1e9)
    except TellableError as error:
        problem = str(error)
        _log.warning("the interrupted session %s: %s", session_uid, error)
    store.end_session(session_uid, ended_ns, interrupted=True)
    return Rebuilt(session_uid, tuple(holds), torn, problem)


def _of_person(store: Store, session_uid: str, analysis_settings: AnalysisSettings) -> AnalysisSettings:
    """Return the settings with the pendulum of the session's person."""
    session = store.get_session(session_uid)
    return (
        analysis_settings
        if session is None
        else replace(analysis_settings, pendulum=store.swings.pendulum(session.person_uid))
    )


def all_journals(folder: DataFolder) -> list[Path]:
    """Return every journal of the folder, packed or not, oldest first."""
    return sorted(p for p in folder.journals.glob("*/*/*") if uid_of(p) is not None)


def recent_journals(folder: DataFolder) -> list[Path]:
    """Return the journals of the two newest months, and of a clock that was not set: what is cut off lies there."""
    months = sorted(p for p in folder.journals.glob("*/*") if p.is_dir())
    unset = [month for month in months[:-2] if month.parent.name < str(FIRST_YEAR)]
    return sorted(p for month in (*unset, *months[-2:]) for p in month.iterdir() if uid_of(p) is not None)


def strays(store: Store, journals: Sequence[Path]) -> list[Path]:
    """Return those journals that no session of the database knows."""
    uids = {path: uid_of(path) or "" for path in journals}
    known = store.known_sessions(list(uids.values()))
    return [path for path, uid in uids.items() if uid not in known]


def adopt(store: Store, folder: DataFolder, path: Path, analysis_settings: AnalysisSettings) -> Rebuilt:
    """Take a stray journal into the database: its session, with the rig and calibration of its note, and its holds."""
    uid = uid_of(path) or path.name
    try:
        note = first_note(path)
    except TellableError as error:
        return Rebuilt(uid, problem=str(error))
    if "rig" not in note or "calibration" not in note:
        return Rebuilt(uid, problem="The journal does not say of which rig it is.")
    place = PurePosixPath(path.relative_to(folder.root).as_posix().removesuffix(PACKED))
    try:
        started_utc_ns = started_of(uid)
        store.begin_session(started_utc_ns, note["rig"], note["calibration"], uid=uid, journal=str(place))
    except (TellableError, TypeError, ValueError) as error:
        return Rebuilt(uid, problem=str(error))
    return rebuild_session(store, path, uid, started_utc_ns, analysis_settings)


def remeasure_missing(store: Store, folder: DataFolder, session_uid: str, analysis_settings: AnalysisSettings) -> int:
    """Measure a session from its journal again and keep those of its holds that the database lacks; return how many."""
    session = store.get_session(session_uid)
    if session is None:
        return 0
    try:
        analysis = analyse_file(folder.journal(session.journal), _of_person(store, session_uid, analysis_settings))
    except TellableError as error:
        _log.warning("holds of the session %s cannot be measured again: %s", session_uid, error)
        return 0
    known, stored = store.hold_names(session_uid), 0
    for number, hold in enumerate(analysis.result.holds, start=1):
        if hold_uid(session_uid, number) not in known:
            one = _stored(session_uid, session.started_utc_ns, number, hold, analysis)
            store.save_hold(one if session.interrupted else replace(one, result=hold))
            stored += 1
    return stored


def uid_of(path: Path) -> str | None:
    """Return the session's uid from a journal's name; None for any other file."""
    name = path.name.removesuffix(PACKED)
    if not name.endswith(JOURNAL_SUFFIX):
        return None
    uid = name.removesuffix(JOURNAL_SUFFIX)
    try:
        started_of(uid)
    except ValueError:
        return None
    return uid


def started_of(uid: str) -> int:
    """Return the UTC nanoseconds that a session's uid begins with; raises ``ValueError``."""
    stamp = time.strptime(uid.partition("-")[0], _UID_FORMAT)
    return calendar.timegm(stamp) * 1_000_000_000


def _mended(path: Path) -> int:
    """Mend a journal and return the bytes of its torn tail; one that cannot be written is read as it is."""
    if path.suffix == PACKED:
        return 0
    try:
        return mend(path).torn_bytes
    except TellableError as error:
        _log.warning("%s", error)
        return 0


def first_note(path: Path) -> dict[str, Any]:
    """Return the note that a session's journal begins with: rig, calibration; raises what ``JournalSource`` does."""
    source = JournalSource(path)
    for event in source.events():
        if isinstance(event, Note):
            return dict(event.content)
    return {}


def _better(stored: StoredHold | None, measured: StoredHold) -> StoredHold:
    """Return what is to be kept of a hold: its numbers from before, where the journal has lost its end."""
    if stored is None or stored.made_by is not None or "record_ends_in_hold" not in measured.result.flags:
        return measured
    if stored.result.duration_s <= measured.result.duration_s:
        return measured
    flags = [f for f in stored.result.flags if f != INTERRUPTED]
    return replace(stored, result=replace(stored.result, flags=[*flags, INTERRUPTED]))


def _stored(session_uid: str, started_utc_ns: int, number: int, hold: HoldResult, analysis: Analysis) -> StoredHold:
    onset_ns = started_utc_ns
    if analysis.clock is not None:
        onset_ns = analysis.clock.utc_ns_at_zero + round(analysis.clock.rate * hold.onset_s * 1e9)
    return StoredHold(
        uid=hold_uid(session_uid, number),
        session_uid=session_uid,
        number=number,
        onset_utc_ns=onset_ns,
        bodyweight_N=hold.bodyweight_N,
        bodyweight_u_N=hold.bodyweight_u_N,
        result=replace(hold, flags=[*hold.flags, INTERRUPTED]),
        measurement_version=MEASUREMENT_VERSION,
        utc_offset_s=time.localtime(onset_ns // 10**9).tm_gmtoff,
    )
