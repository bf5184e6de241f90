"""The demo hall: six invented people and 60 days of their hangs, put into a data folder and taken out again."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.coaching.local_time import zone_of
from monitor.coaching.people.intake import intake_outcome
from monitor.demo.hall_people import MEMBERS, ZONE, Member
from monitor.demo.member_days import DAYS, DrawnSession, MemberDays, entry_days, pains_of
from monitor.demo.recorded_session import (
    ScriptedHold,
    hall_calibration,
    hall_electronics,
    record_session,
    session_counts,
)
from monitor.demo.virtual_rig import demo_rig
from monitor.errors import MonitorError
from monitor.newtons.calibration import Calibration, calibration_to_dict
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig, rig_to_dict
from monitor.store import DataFolder, Store, hold_uid, journal_place
from monitor.store.files.journals import erase_journals
from monitor.store.holds.rows import calibration_date, fingerprint, hold_columns
from monitor.store.people.person_erasure import erase_person
from monitor.store.people.person_export import FORMAT, journal_places
from monitor.store.people.person_import import write_person_export

MARK = "Invented person of the demo hall: nobody of this name hangs here, and no number was measured on anybody."
SEED = 7


class HallLoaded(MonitorError):
    """The demo hall is in the data folder already."""

    code = "hall-loaded"


class HallNotLoaded(MonitorError):
    """There is no demo hall in the data folder."""

    code = "hall-not-loaded"


@dataclass(frozen=True, slots=True)
class HallCount:
    """How much was loaded or removed."""

    people: int
    holds: int
    journals: int


def person_uid(member: Member) -> str:
    """Return the uid of an invented member, which is the same everywhere."""
    return f"p-{hashlib.sha256(f'demo hall {member.body.name}'.encode()).hexdigest()[:12]}"


def load_hall(store: Store, folder: DataFolder, now: dt.datetime, seed: int = SEED) -> HallCount:
    """Put the hall into a store: its last day is the day before ``now``. The same seed and day give the same people.

    Most holds are drawn from the members' true endurance; the last session of each, and the first of every other one,
    is played through the body model, the cells and the wire, kept as a journal and measured like any other.

    Raises
    ------
    HallLoaded
    """
    if any(store.people.get(person_uid(m)) is not None for m in MEMBERS):
        raise HallLoaded(
            what=f"The demo hall is in {folder.root} already.",
            means="Nothing was changed.",
            do="Take it away first: hang-monitor demo-hall remove",
        )
    first = now.astimezone(zone_of(ZONE)).date() - dt.timedelta(days=DAYS)
    rig = dataclasses.replace(demo_rig(), name="Invented hall's rig")
    electronics = hall_electronics(rig, seed)
    calibration = hall_calibration(electronics, rig, seed, first)
    histories = [
        _History(member, MemberDays(member, first, np.random.default_rng([seed, number])), rig, calibration)
        for number, member in enumerate(MEMBERS)
    ]
    with ThreadPoolExecutor(max_workers=3) as pool:
        person_exports = list(pool.map(lambda pair: pair[1].person_export(folder, seed, pair[0]), enumerate(histories)))
    for person_export in person_exports:
        write_person_export(store, person_export, who="demo hall", although_erased=True)
    store.audit.add("demo hall", "demo hall loaded", f"{len(person_exports)} invented people")
    journals = sum(folder.journal(session["journal"]).exists() for d in person_exports for session in d["sessions"])
    return HallCount(len(person_exports), sum(len(d["holds"]) for d in person_exports), journals)


def remove_hall(store: Store, folder: DataFolder) -> HallCount:
    """Take the hall away with everything that hangs on it: people, holds, corrections, journals, rig, calibration.

    Raises
    ------
    HallNotLoaded
    """
    there = [uid for m in MEMBERS if store.people.get(uid := person_uid(m)) is not None]
    if not there:
        raise HallNotLoaded(
            what=f"There is no demo hall in {folder.root}.",
            means="Nothing was changed.",
            do="Give the folder that it was loaded into with --data.",
        )
    holds = journals = 0
    for uid in there:
        journals += len(erase_journals(folder, journal_places(store, uid)))
        holds += erase_person(store, uid, who="demo hall", keep_row=False).rows["hold"]
    store.audit.add("demo hall", "demo hall removed", f"{len(there)} invented people")
    return HallCount(len(there), holds, journals)


class _History:
    """Builds one member's person export."""

    def __init__(self, member: Member, days: MemberDays, rig: Rig, calibration: Calibration) -> None:
        self.member, self.days = member, days
        self.rig, self.calibration = rig, calibration

    def person_export(self, folder: DataFolder, seed: int, number: int) -> dict[str, Any]:
        """Return everything that a store keeps of the member; the last session's journal is in the folder then."""
        days, uid = self.days, person_uid(self.member)
        rig_data, calibration_data = rig_to_dict(self.rig), calibration_to_dict(self.calibration)
        since_ns = days.at(0, 9.0)
        sessions: list[dict[str, Any]] = []
        holds: list[StoredHold] = []
        days_on_rig = [day for day in range(DAYS - 1) if days.attends(day)] + [DAYS - 1]
        played = {DAYS - 1} if number % 2 else {DAYS - 1, days_on_rig[0]}
        for day in days_on_rig:
            session, quality = days.draw_session(day), None
            if day in played:
                session, quality = self._play_first_hold(
                    session, folder, np.random.default_rng([seed, number, day]), seed
                )
            sessions.append({**self._session(session, rig_data, calibration_data), "quality": quality})
            holds += session.holds
        return {
            "format": FORMAT,
            "person": {
                "uid": uid,
                "name": f"{self.member.body.name} (invented)",
                "stature_m": self.member.body.stature_m,
                "notes": f"{MARK} {self.member.about[0].upper()}{self.member.about[1:]}.",
                "consent_on": days.first.isoformat(),
                "units": self.member.units,
                "time_zone": ZONE,
                "created_utc_ns": since_ns,
                "changed_utc_ns": since_ns,
                "erased_utc_ns": None,
            },
            "intakes": [
                {
                    "at_utc_ns": since_ns,
                    "answers": self.member.answers,
                    "outcome": intake_outcome(self.member.answers).as_dict(),
                }
            ],
            "pains": pains_of(days),
            "programmes": [{"since_utc_ns": since_ns, "content": days.programme.as_dict()}],
            "manual_hangs": self._by_hand(),
            "rigs": [{"sha256": fingerprint(rig_data), "description": rig_data}],
            "calibrations": [
                {
                    "sha256": fingerprint(calibration_data),
                    "dated": calibration_date(calibration_data),
                    "content": calibration_data,
                }
            ],
            "sessions": sessions,
            "corrections": [],
            "holds": [self._hold(h) for h in holds],
            "of_holds": {},
        }

    def _by_hand(self) -> list[dict[str, Any]]:
        rng = self.days.rng
        made = []
        for day in entry_days(rng, self.member.by_hand):
            at_ns = self.days.at(day, 8.0)
            made.append(
                {
                    "at_utc_ns": at_ns,
                    "duration_s": float(5 * rng.integers(4, 13)),
                    "kind": "passive",
                    "note": "at home (invented)",
                    "created_utc_ns": at_ns,
                    "removed_utc_ns": None,
                }
            )
        return made

    def _session(self, session: DrawnSession, rig_data: Any, calibration_data: Any) -> dict[str, Any]:
        return {
            "uid": session.session_uid,
            "started_utc_ns": session.started_utc_ns,
            "ended_utc_ns": session.ended_utc_ns,
            "journal": str(journal_place(session.session_uid, session.started_utc_ns)),
            "clock_rate": 1.0,
            "quality": None,
            "interrupted": False,
            "rig": fingerprint(rig_data),
            "calibration": fingerprint(calibration_data),
        }

    def _hold(self, hold: StoredHold) -> dict[str, Any]:
        columns = hold_columns(hold)
        return {
            "uid": hold.uid,
            "session": hold.session_uid,
            **columns,
            "corrected_kind": columns["kind"],
            "hidden": None,
            "made_by": None,
            "target_s": hold.target_s,
            "ending": hold.ending,
            "revised": 0,
            "created_utc_ns": hold.onset_utc_ns,
            "changed_utc_ns": hold.onset_utc_ns,
            "withdrawn_utc_ns": None,
        }

    def _play_first_hold(
        self, drawn: DrawnSession, folder: DataFolder, rng: np.random.Generator, seed: int
    ) -> tuple[DrawnSession, dict[str, Any]]:
        """Return a session's first hold, played through body, cells and wire, with its journal in the folder."""
        # What was measured stands in the place of the draw, for the targets of later sessions too.
        del self.days.holds[-len(drawn.holds) :]
        wanted = drawn.holds[:1]
        scripted = [
            ScriptedHold(
                h.result.duration_s,
                max(h.result.alpha_mean or 0.0, 0.0) if h.result.support == "assisted" else 0.0,
                h.result.kind == "active",
            )
            for h in wanted
        ]
        # The cells are the same for all, their noise is not.
        electronics = hall_electronics(self.rig, seed)
        electronics.convert(np.zeros((int(rng.integers(100, 5000)), len(self.rig.channels))))
        counts, missed = session_counts(self.member.body, scripted, self.rig, electronics, rng)
        given = 0

        def conversions(n: int) -> tuple[Any, Any]:
            nonlocal given
            part = slice(given, given + n)
            given += n
            return counts[part], missed[part]

        path = folder.new_journal(drawn.session_uid, drawn.started_utc_ns)
        path.unlink(missing_ok=True)
        analysis = record_session(path, conversions, self.rig, self.calibration, drawn.started_utc_ns)
        zero_ns = drawn.started_utc_ns
        holds = []
        for k, result in enumerate(analysis.result.holds, start=1):
            drawn_hold = wanted[min(k, len(wanted)) - 1]
            holds.append(
                dataclasses.replace(
                    drawn_hold,
                    uid=hold_uid(drawn.session_uid, k),
                    number=k,
                    onset_utc_ns=zero_ns + round(result.onset_s * 1e9),
                    bodyweight_N=analysis.result.bodyweight_N,
                    bodyweight_u_N=analysis.result.bodyweight_u_N,
                    result=result,
                    measurement_version=MEASUREMENT_VERSION,
                )
            )
        self.days.take_over(holds)
        ended_ns = zero_ns + round(len(counts) / self.rig.nominal_rate_Hz * 1e9)
        quality = dataclasses.asdict(analysis.result.quality)
        return dataclasses.replace(drawn, ended_utc_ns=ended_ns, holds=holds), quality
