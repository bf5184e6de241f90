"""Measures stored holds again from their journals with the present version; earlier results stay."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

from firmware_bridge.sources import ClockFit
from monitor.analysis import WRAP_s, analyse_file
from monitor.errors import TellableError
from monitor.made_holds import given_bodyweight_N, measure_made_holds
from monitor.measures.session_analysis import AnalysisSettings
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.session_result import SessionResult
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.store import DataFolder, Store, hold_uid

INTERRUPTED = "interrupted"


@dataclass(frozen=True, slots=True)
class Difference:
    """How a hold's main numbers moved: (before, after), None where one of them is absent."""

    uid: str
    versions: tuple[int, int]
    duration_s: tuple[float, float]
    alpha_mean: tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class SessionReport:
    """What became of a session.

    Attributes
    ----------
    session_uid : str
    measured : int
        Holds measured again.
    differences : list of Difference
        Those whose main numbers moved by more than their uncertainty.
    new, gone : int
        Holds that were not stored before, and stored ones that are holds no more.
    corrections : int
        Splits and joins whose holds were measured again.
    trouble : str
        Why nothing was measured.
    """

    session_uid: str
    measured: int = 0
    differences: list[Difference] = field(default_factory=list)
    new: int = 0
    gone: int = 0
    corrections: int = 0
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class _Measured:
    """What a session's journal yields; small enough to travel between processes."""

    result: SessionResult
    clock: ClockFit | None


def reanalyse(store: Store, folder: DataFolder, *, jobs: int = 0, everything: bool = False) -> Iterator[SessionReport]:
    """Measure the holds of all sessions again and save the results; yield a report for each session, oldest first.

    A hold keeps its uid, its instant in UTC and its corrections; holds that corrections join or split are measured
    again, too. A result of another version of the measurement is saved as an earlier one (``store.earlier``).

    Parameters
    ----------
    store, folder
    jobs : int
        Processes; 0: as many as there are processors.
    everything : bool
        Include sessions whose holds all carry the present version.
    """
    wanted = _sessions(store, folder, everything)
    paths = [folder.journal(session.journal) for session in wanted]
    settings = [_settings(store, session) for session in wanted]
    processes = min(len(wanted), jobs or os.cpu_count() or 1)
    if processes < 2:
        for session, path, setting in zip(wanted, paths, settings, strict=True):
            yield _save(store, folder, session, _measure(path, setting))
        return
    import multiprocessing

    with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        for session, outcome in zip(wanted, pool.map(_measure, paths, settings), strict=True):
            yield _save(store, folder, session, outcome)


def sessions_to_measure(store: Store, folder: DataFolder, *, everything: bool = False) -> int:
    """Return how many sessions ``reanalyse`` would measure."""
    return len(_sessions(store, folder, everything))


def _sessions(store: Store, folder: DataFolder, everything: bool) -> list[StoredSession]:
    sessions = [s for s in _all_sessions(store) if s.ended_utc_ns is not None]
    return [s for s in sessions if everything or _is_old(store, folder, s)]


def _all_sessions(store: Store) -> Iterator[StoredSession]:
    page, offset = 500, 0
    while sessions := store.list_sessions(page, offset, newest_first=False):
        yield from sessions
        offset += page


def _is_old(store: Store, folder: DataFolder, session: StoredSession) -> bool:
    holds = [*store.measured_of_session(session.uid), *store.holds_of_session(session.uid)]
    if any(hold.measurement_version != MEASUREMENT_VERSION for hold in holds):
        return True
    # Version 0.1 did not measure what a correction makes.
    made = {hold.made_by for hold in holds} - {None}
    corrections = store.corrections.of_session(session.uid) if made else []
    unmeasured = any(one.id in made and "measured" not in one.content for one in corrections)
    return unmeasured and folder.journal(session.journal).exists()


def _settings(store: Store, session: StoredSession) -> AnalysisSettings:
    """Return what was in force and the journal does not know: a bodyweight from outside, the person's pendulum."""
    holds = store.measured_of_session(session.uid)
    weight_N = given_bodyweight_N(holds[0], session.rig) if holds else None
    return AnalysisSettings(bodyweight_N=weight_N, pendulum=store.swings.pendulum(session.person_uid))


def _measure(path: Path, settings: AnalysisSettings) -> _Measured | str:
    """Return what a journal yields, or why it yields nothing; runs in a process of its own."""
    if not path.exists():
        return f"its journal {path.name} is gone"
    try:
        analysis = analyse_file(path, settings)
    except TellableError as error:
        return error.what
    return _Measured(analysis.result, analysis.clock)


def _save(store: Store, folder: DataFolder, session: StoredSession, measured: _Measured | str) -> SessionReport:
    """Match the new holds with the stored ones by time, save them, and report what moved."""
    if isinstance(measured, str):
        return SessionReport(session.uid, trouble=measured)
    old = {h.number: h for h in store.measured_of_session(session.uid)}
    left = dict(old)
    differences, new, number = [], 0, max(old, default=0)
    for result in measured.result.holds:
        match = next((h for h in left.values() if _overlap(h.result, result)), None)
        if match is None:
            number += 1
            new += 1
            store.save_hold(_stored(session, number, result, measured, None))
            continue
        del left[match.number]
        store.save_hold(_stored(session, match.number, result, measured, match))
        if _moved(match.result, result):
            before = match.result
            differences.append(
                Difference(
                    match.uid,
                    (match.measurement_version, MEASUREMENT_VERSION),
                    (before.duration_s, result.duration_s),
                    (before.alpha_mean, result.alpha_mean),
                )
            )
    for gone in left.values():
        store.withdraw_hold(gone.uid)
    corrections = measure_made_holds(store, folder, session.uid)
    return SessionReport(session.uid, len(measured.result.holds), differences, new, len(left), corrections)


def _overlap(before: HoldResult, after: HoldResult) -> bool:
    """Say whether two results are of one hold; a journal's clock may be whole turns of 71.6 minutes off."""
    shift_s = round((before.onset_s - after.onset_s) / WRAP_s) * WRAP_s
    start_s = max(before.onset_s, after.onset_s + shift_s)
    return min(before.release_s, after.release_s + shift_s) - start_s > 0.5 * min(before.duration_s, after.duration_s)


def _moved(before: HoldResult, after: HoldResult) -> bool:
    """Say whether a main number has moved by more than its own standard uncertainty."""
    if abs(before.duration_s - after.duration_s) > max(before.duration_u_s, after.duration_u_s):
        return True
    if before.alpha_mean is None or after.alpha_mean is None:
        return before.alpha_mean is not after.alpha_mean
    return abs(before.alpha_mean - after.alpha_mean) > max(before.alpha_u or 0.0, after.alpha_u or 0.0)


def _stored(
    session: StoredSession, number: int, hold: HoldResult, measured: _Measured, old: StoredHold | None
) -> StoredHold:
    if session.interrupted and INTERRUPTED not in hold.flags:
        hold = replace(hold, flags=[*hold.flags, INTERRUPTED])
    onset_utc_ns = session.started_utc_ns
    if old is not None:
        onset_utc_ns = old.onset_utc_ns
    elif measured.clock is not None:
        onset_utc_ns = measured.clock.utc_ns_at_zero + round(measured.clock.rate * hold.onset_s * 1e9)
    return StoredHold(
        uid=hold_uid(session.uid, number),
        session_uid=session.uid,
        number=number,
        onset_utc_ns=onset_utc_ns,
        bodyweight_N=hold.bodyweight_N,
        bodyweight_u_N=hold.bodyweight_u_N,
        result=hold,
        measurement_version=MEASUREMENT_VERSION,
        utc_offset_s=None if old is None else old.utc_offset_s,
    )
