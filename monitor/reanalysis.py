"""Every stored hold measured anew from its journal with the present version; what earlier versions said stays."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

from monitor.analysis import Analysis, analyse_file
from monitor.errors import TellableError
from monitor.measures.session_analysis import AnalysisSettings
from monitor.measures.swing import Pendulum
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.stored_hold import StoredHold
from monitor.records.stored_session import StoredSession
from monitor.store import DataFolder, Store, hold_uid

WRAP_s = 2**32 / 1e6
KEPT_FLAG = "interrupted"


@dataclass(frozen=True, slots=True)
class Difference:
    """How a hold's main numbers moved: (before, after), None where one of them is absent."""

    uid: str
    versions: tuple[int, int]
    duration_s: tuple[float, float]
    alpha_mean: tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class SessionReport:
    """What became of a session: holds measured anew, their differences, holds found new or no more, or why not."""

    session_uid: str
    measured: int = 0
    differences: list[Difference] = field(default_factory=list)
    found_new: int = 0
    no_more: int = 0
    trouble: str = ""


def reanalyse(store: Store, folder: DataFolder, *, jobs: int = 0, everything: bool = False) -> Iterator[SessionReport]:
    """Measure the holds of all sessions anew and keep what comes out; yield a report for each session, oldest first.

    A hold keeps its name, its instant in UTC and what a coach has said of it. A result of another version of the
    measurement is kept as an earlier one (``store.earlier``).

    Parameters
    ----------
    jobs : int
        Processes; 0: as many as there are processors.
    everything : bool
        Also stays whose holds all carry the present version.
    """
    wanted = _wanted(store, everything)
    paths = [folder.journal(session.journal) for session in wanted]
    weights = [_given_weight_N(store, session) for session in wanted]
    pendulums = [store.swings.pendulum(session.person_uid) for session in wanted]
    processes = min(len(wanted), jobs or os.cpu_count() or 1)
    if processes < 2:
        for session, path, weight, pendulum in zip(wanted, paths, weights, pendulums, strict=True):
            yield _kept(store, session, _measured(path, weight, pendulum))
        return
    import multiprocessing

    with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        for session, outcome in zip(wanted, pool.map(_measured, paths, weights, pendulums), strict=True):
            yield _kept(store, session, outcome)


def sessions_to_measure(store: Store, *, everything: bool = False) -> int:
    """Return how many sessions ``reanalyse`` would measure."""
    return len(_wanted(store, everything))


def _wanted(store: Store, everything: bool) -> list[StoredSession]:
    sessions = [s for s in _all_sessions(store) if s.ended_utc_ns is not None]
    return [s for s in sessions if everything or _is_old(store, s)]


def _all_sessions(store: Store) -> Iterator[StoredSession]:
    page, offset = 500, 0
    while sessions := store.list_sessions(page, offset, newest_first=False):
        yield from sessions
        offset += page


def _is_old(store: Store, session: StoredSession) -> bool:
    return any(h.measurement_version != MEASUREMENT_VERSION for h in store.measured_of_session(session.uid))


def _given_weight_N(store: Store, session: StoredSession) -> float | None:
    """Return the bodyweight where it was given from outside: the journal alone cannot know it."""
    holds = store.measured_of_session(session.uid)
    if holds and not any(c.get("part") == "platform" for c in session.rig.get("channels", [])):
        return holds[0].bodyweight_N
    return None


def _measured(path: Path, bodyweight_N: float | None, pendulum: Pendulum) -> Analysis | str:
    """Return a journal's analysis, or why there is none; runs in a process of its own."""
    if not path.exists():
        return f"its journal {path.name} is gone"
    try:
        return analyse_file(path, AnalysisSettings(bodyweight_N=bodyweight_N, pendulum=pendulum))
    except TellableError as error:
        return error.what


def _kept(store: Store, session: StoredSession, outcome: Analysis | str) -> SessionReport:
    """Match the new holds with the stored ones by time, keep them, and tell what has moved."""
    if isinstance(outcome, str):
        return SessionReport(session.uid, trouble=outcome)
    old = {h.number: h for h in store.measured_of_session(session.uid)}
    left = dict(old)
    differences, found_new, number = [], 0, max(old, default=0)
    for new in outcome.result.holds:
        match = next((h for h in left.values() if _overlap(h.result, new)), None)
        if match is None:
            number += 1
            found_new += 1
            store.save_hold(_stored(session, number, new, outcome, None))
            continue
        del left[match.number]
        store.save_hold(_stored(session, match.number, new, outcome, match))
        if _moved(match.result, new):
            before, after = match.result, new
            differences.append(
                Difference(
                    match.uid,
                    (match.measurement_version, MEASUREMENT_VERSION),
                    (before.duration_s, after.duration_s),
                    (before.alpha_mean, after.alpha_mean),
                )
            )
    for gone in left.values():
        store.withdraw_hold(gone.uid)
    return SessionReport(session.uid, len(outcome.result.holds), differences, found_new, len(left))


def _overlap(before: HoldResult, after: HoldResult) -> bool:
    """Say whether two results are of one hold; a journal's clock may lie whole turns of 71.6 minutes apart."""
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
    session: StoredSession, number: int, new: HoldResult, outcome: Analysis, old: StoredHold | None
) -> StoredHold:
    result = outcome.result
    if session.interrupted and KEPT_FLAG not in new.flags:
        new = replace(new, flags=[*new.flags, KEPT_FLAG])
    onset_utc_ns = session.started_utc_ns
    if old is not None:
        onset_utc_ns = old.onset_utc_ns
    elif outcome.clock is not None:
        onset_utc_ns = outcome.clock.utc_ns_at_zero + round(outcome.clock.rate * new.onset_s * 1e9)
    return StoredHold(
        uid=hold_uid(session.uid, number),
        session_uid=session.uid,
        number=number,
        onset_utc_ns=onset_utc_ns,
        bodyweight_N=result.bodyweight_N,
        bodyweight_u_N=result.bodyweight_u_N,
        result=new,
        measurement_version=MEASUREMENT_VERSION,
        utc_offset_s=None if old is None else old.utc_offset_s,
    )
