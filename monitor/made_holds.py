"""Holds that corrections make, measured from their session's journal: joined holds and the parts of split ones."""

from __future__ import annotations

import logging
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.analysis import measure_journal_stretches
from monitor.errors import TellableError
from monitor.holds.stretches import Spans
from monitor.measures.hold_context import ALPHA_MAX
from monitor.measures.session_analysis import GIVEN_U_REL, AnalysisSettings
from monitor.records.correction import Correction, CorrectionKind
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.plain_data import plain
from monitor.records.stored_hold import StoredHold
from monitor.store import DataFolder, Store
from monitor.store.holds.corrected_holds import SAME_HOLD_S, corrected_holds

SAME_CLEAN_S = 0.05
"""Clean times that differ by more were measured with different allowed assistance (common practice, no source)."""

SAME_BETA = 0.02
"""Shares of the hands that differ by more are those of two holds (common practice, no source)."""

_log = logging.getLogger(__name__)


def measured_content(
    store: Store,
    folder: DataFolder,
    hold_uid: str,
    kind: CorrectionKind,
    content: Mapping[str, Any],
    *,
    alpha_max: float = ALPHA_MAX,
) -> dict[str, Any]:
    """Return a correction's content with the holds that it makes as measured; unchanged where they cannot be.

    Parameters
    ----------
    store, folder
    hold_uid, kind, content
        The correction that is to be made; see ``Correction``.
    alpha_max : float
        The allowed assistance that is in force.
    """
    sources = [store.get_hold(uid) for uid in (hold_uid, content.get("with")) if isinstance(uid, str)]
    known = [hold for hold in sources if hold is not None]
    return _with_measured(store, folder, kind, content, known if len(known) == len(sources) else [], alpha_max)


def measure_made_holds(store: Store, folder: DataFolder, session_uid: str) -> int:
    """Measure every hold that a session's corrections in force make once more; return how many corrections changed."""
    measured, corrections = store.measured_of_session(session_uid), store.corrections.of_session(session_uid)
    done: list[Correction] = []
    changed = 0
    for correction in corrections:
        new = correction
        if correction.kind in ("split", "join") and correction.undone_utc_ns is None:
            live = {hold.uid: hold for hold in corrected_holds(measured, done).holds}
            sources = [live.get(uid) for uid in (correction.hold_uid, correction.content.get("with")) if uid]
            known = [hold for hold in sources if hold is not None]
            if len(known) == len(sources):
                content = _with_measured(store, folder, correction.kind, correction.content, known, ALPHA_MAX)
                new = replace(correction, content=content)
        if new.content != correction.content:
            store.corrections.set_content(correction.id, new.content)
            changed += 1
        done.append(new)
    return changed


def _with_measured(
    store: Store,
    folder: DataFolder,
    kind: CorrectionKind,
    content: Mapping[str, Any],
    sources: Sequence[StoredHold],
    alpha_max: float,
) -> dict[str, Any]:
    session = store.get_session(sources[0].session_uid) if sources else None
    stretches = _stretches(kind, content, sources)
    if session is None or not stretches:
        return dict(content)
    path = folder.journal(session.journal)
    settings = AnalysisSettings(
        given_bodyweight_N(sources[0], session.rig), alpha_max, pendulum=store.swings.pendulum(session.person_uid)
    )
    results = _results(path, settings, [((h.result.onset_s, h.result.release_s),) for h in sources] + stretches)
    before, made = results[: len(sources)], results[len(sources) :]
    if not all(_same(hold.result, again) for hold, again in zip(sources, before, strict=True)) or None in made:
        return dict(content)
    rows = [result.as_dict() for result in made if result is not None]
    if not all(_same_clean(hold.result, again) for hold, again in zip(sources, before, strict=True)):
        for row in rows:
            del row["clean_s"]  # it hangs on the assistance that was allowed, which the journal does not know
    return {**content, "measured": {"version": MEASUREMENT_VERSION, "results": plain(rows)}}


def given_bodyweight_N(hold: StoredHold, rig: Mapping[str, Any]) -> float | None:
    """Return the bodyweight that a hold was measured with where it was given from outside, not read by the rig."""
    if hold.bodyweight_N is None:
        return None
    by_rig = any(channel.get("part") == "platform" for channel in rig.get("channels", []))
    stated = hold.bodyweight_u_N is not None and math.isclose(hold.bodyweight_u_N, GIVEN_U_REL * hold.bodyweight_N)
    return hold.bodyweight_N if stated or not by_rig else None


def _stretches(kind: CorrectionKind, content: Mapping[str, Any], sources: Sequence[StoredHold]) -> list[Spans]:
    """Return what the holds that a correction makes are made of; nothing where it makes none."""
    edges = [(hold.result.onset_s, hold.result.release_s) for hold in sources]
    if kind == "join" and len(edges) == 2:
        return [edges]
    at_s = content.get("at_s")
    if kind == "split" and len(edges) == 1 and isinstance(at_s, (int, float)) and edges[0][0] < at_s < edges[0][1]:
        return [[(edges[0][0], at_s)], [(at_s, edges[0][1])]]
    return []


def _results(path: Path, settings: AnalysisSettings, stretches: Sequence[Spans]) -> list[HoldResult | None]:
    if not path.exists():
        return [None] * len(stretches)
    try:
        return measure_journal_stretches(path, settings, stretches)
    except TellableError as error:
        _log.warning("a correction was made without its journal: %s", error)
        return [None] * len(stretches)


def _same(stored: HoldResult, again: HoldResult | None) -> bool:
    """Say whether a hold is found again where it was: after a restart of the board times come twice."""
    if again is None or max(abs(stored.onset_s - again.onset_s), abs(stored.release_s - again.release_s)) > SAME_HOLD_S:
        return False
    if stored.beta_mean is None or again.beta_mean is None:
        return stored.beta_mean is again.beta_mean
    return abs(stored.beta_mean - again.beta_mean) < SAME_BETA


def _same_clean(stored: HoldResult, again: HoldResult | None) -> bool:
    clean_s = None if again is None else again.clean_s
    if stored.clean_s is None or clean_s is None:
        return stored.clean_s is clean_s
    return abs(stored.clean_s - clean_s) < SAME_CLEAN_S
