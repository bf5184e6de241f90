"""The one place where screens, command line and notebooks get people, prescriptions and progress."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from monitor.coaching.endurance.curve import Posterior, fit_endurance
from monitor.coaching.endurance.hold_efforts import efforts_of
from monitor.coaching.endurance.overview import EnduranceOverview, endurance_overview
from monitor.coaching.endurance.strength_course import StrengthPoint, strength_ahead, strength_course
from monitor.coaching.endurance.trend import fit_trend
from monitor.coaching.local_time import day_bounds_ns, local_day, zone_of
from monitor.coaching.own_swing import swing_calibration
from monitor.coaching.people.day_ledger import DayLedger, ledger, minutes_of_spans
from monitor.coaching.people.entries import LONGEST_BY_HAND_s, check_manual_hang, checked_pain
from monitor.coaching.people.intake import IntakeOutcome, checked_answers, intake_outcome
from monitor.coaching.people.pauses import Pause, resting_days, resumed
from monitor.coaching.people.person import checked_person
from monitor.coaching.people.programme import Programme, programme_from_dict, template
from monitor.coaching.prescribing.day_prescription import DayPrescription, prescribe_day
from monitor.coaching.progress.comparison import Comparison
from monitor.coaching.progress.progress import Progress, compared, progress
from monitor.coaching.safety.back_care import BackCare, back_care
from monitor.coaching.safety.stop_rules import Stop, stops
from monitor.measures.swing_calibration import MeasuredAngle
from monitor.records.person import Person
from monitor.records.person_entries import Intake, ManualHang, PainEntry
from monitor.records.stored_hold import StoredHold
from monitor.records.swing_calibration import SwingCalibration
from monitor.store import HoldFilter, Store, UnknownPerson

RECENT_HOLDS = 400
"""More than endurance and trend take in, so that today's prescription does not read a lifetime of holds."""


class CoachingService:
    """Joins the store and the coaching's rules. Every method may be called from any thread.

    Parameters
    ----------
    store : Store
    now_utc_ns : callable
        The clock that decides what "today" is.

    Raises
    ------
    UnknownPerson
        By every method that takes the uid of a person.
    """

    def __init__(self, store: Store, now_utc_ns: Callable[[], int] = time.time_ns) -> None:
        self.store = store
        self._now_utc_ns = now_utc_ns
        self.watchers: list[Callable[[str], None]] = []
        """Called with a person's uid when something changed that their prescription rests on."""

    def now_utc_ns(self) -> int:
        """Return the time that decides what "today" is."""
        return self._now_utc_ns()

    def changed(self, uid: str | None) -> None:
        """Notify the watchers that something of a person was changed; None is a guest, who has no prescription."""
        if uid is not None:
            for watcher in self.watchers:
                watcher(uid)

    # People

    def everybody(self) -> list[Person]:
        """Return everybody, by name."""
        return self.store.people.everybody()

    def person(self, uid: str) -> Person:
        """Return a person."""
        person = self.store.people.get(uid)
        if person is None:
            raise UnknownPerson(
                what=f"There is no person {uid[:80]!r}.",
                means="Nothing is known of them.",
                do="Choose somebody from the list of people, or add the person first.",
            )
        return person

    def find_person(self, word: str) -> Person:
        """Return a person by uid, or by a name that only they have."""
        named = [p for p in self.everybody() if p.name.casefold() == word.strip().casefold()]
        return named[0] if len(named) == 1 else self.person(word)

    def add_person(self, name: str, **fields: Any) -> Person:
        """Save a new person; fields as in ``Person``.

        Raises
        ------
        BadPerson
        """
        return self.store.people.save(checked_person(Person("", name, **fields)))

    def change_person(self, uid: str, **fields: Any) -> Person:
        """Change fields of a person.

        Raises
        ------
        BadPerson
        """
        return self.store.people.save(checked_person(replace(self.person(uid), **fields)))

    # A person as a pendulum

    def swing_calibration(self, hold_uid: str, after_s: float, angle: MeasuredAngle) -> SwingCalibration:
        """Return what follows from the measured amplitude of a deliberate swing; see ``own_swing``."""
        return swing_calibration(self.store, hold_uid, after_s, angle, self._now_utc_ns())

    def calibrate_swing(self, hold_uid: str, after_s: float, angle: MeasuredAngle) -> SwingCalibration:
        """Save what follows from a deliberate swing; later swings of that person are computed with their kappa."""
        return self.store.swings.add(self.swing_calibration(hold_uid, after_s, angle))

    # Intake, programme

    def take_intake(self, uid: str, answers: Mapping[str, Any]) -> tuple[Intake, IntakeOutcome]:
        """Save an intake and return it with what follows from it.

        Raises
        ------
        BadAnswers
        """
        self.person(uid)
        checked, outcome = checked_answers(answers), intake_outcome(answers)
        intake = self.store.people.add_intake(uid, self._now_utc_ns(), checked, outcome.as_dict())
        self.changed(uid)
        return intake, outcome

    def latest_intake(self, uid: str) -> tuple[Intake, IntakeOutcome] | None:
        """Return the newest intake; its outcome is computed anew from the answers."""
        self.person(uid)
        intakes = self.store.people.intakes(uid)
        return (intakes[0], intake_outcome(intakes[0].answers)) if intakes else None

    def programme(self, uid: str) -> tuple[Programme, int | None]:
        """Return the programme in force and since when (UTC ns); without any the default one and None."""
        self.person(uid)
        saved = self.store.people.programmes(uid)
        return (programme_from_dict(saved[0].content), saved[0].since_utc_ns) if saved else (template(), None)

    def _begun_ns(self, uid: str) -> int | None:
        """Return when the programme in force began: an edited one of the same name continues its days."""
        begun_ns, name = None, None
        for saved in self.store.people.programmes(uid):
            if name not in (None, saved.content.get("name")):
                break
            begun_ns, name = saved.since_utc_ns, saved.content.get("name")
        return begun_ns

    def pause(
        self, uid: str, *, first: dt.date | None = None, last: dt.date | None = None, item: str = "", reason: str = ""
    ) -> Programme:
        """Pause the programme or one item of it, from a day on (None: today) to a day (None: until it is resumed).

        Raises
        ------
        BadProgramme
        """
        programme, _ = self.programme(uid)
        begin = (first or self.today(uid)).isoformat()
        pause = Pause(begin, last.isoformat() if last else "", item, reason)
        changed = replace(programme, pauses=(*programme.pauses, pause))
        return self.set_programme(uid, programme_from_dict(changed.as_dict()))

    def resume(self, uid: str, item: str = "") -> Programme:
        """End the pauses in force: those of everything, or those of one item."""
        programme, _ = self.programme(uid)
        pauses = resumed(programme.pauses, self.today(uid), item)
        return self.set_programme(uid, replace(programme, pauses=pauses))

    def today(self, uid: str) -> dt.date:
        """Return the date on a person's calendar."""
        return local_day(self._now_utc_ns(), zone_of(self.person(uid).time_zone))

    def set_programme(self, uid: str, programme: Programme) -> Programme:
        """Put a programme in force from now on."""
        self.store.people.set_programme(uid, self._now_utc_ns(), programme.as_dict())
        self.changed(uid)
        return programme

    # Entries

    def log_pain(self, uid: str, pain: int, **fields: Any) -> tuple[PainEntry, list[Stop]]:
        """Save an entry of pain; return it with the pauses that are then in force. Fields as in ``PainEntry``.

        Raises
        ------
        BadEntry
        """
        entry = PainEntry(0, uid, fields.pop("at_utc_ns", None) or self._now_utc_ns(), pain, **fields)
        saved = self.store.people.add_pain(checked_pain(entry))
        self.changed(uid)
        return saved, self.stops(uid)

    def stops(self, uid: str) -> list[Stop]:
        """Return the pauses in force."""
        rule = self.programme(uid)[0].stop
        return stops(self.store.people.pains(uid), rule)

    def back_care(self, uid: str) -> BackCare:
        """Return the log of the cues for the lower back."""
        self.person(uid)
        return back_care(self.store.people.pains(uid))

    def log_hang(
        self, uid: str, duration_s: float, at_utc_ns: int | None = None, kind: str | None = None, note: str = ""
    ) -> ManualHang:
        """Save a hang that was made away from the rig.

        Raises
        ------
        BadEntry
        """
        now_ns = self._now_utc_ns()
        check_manual_hang(duration_s, at_utc_ns, kind, now_ns)
        hang = self.store.people.add_manual_hang(uid, at_utc_ns or now_ns, duration_s, kind, note)
        self.changed(uid)
        return hang

    # What is known and what comes next

    def holds(self, uid: str, since_utc_ns: int | None = None, until_utc_ns: int | None = None) -> list[StoredHold]:
        """Return a person's holds with all corrections applied, oldest first."""
        self.person(uid)
        return self.store.all_holds(HoldFilter(person_uid=uid, since_utc_ns=since_utc_ns, until_utc_ns=until_utc_ns))

    def recent_holds(self, uid: str) -> list[StoredHold]:
        """Return a person's newest ``RECENT_HOLDS`` holds with all corrections applied, oldest first."""
        self.person(uid)
        newest, _ = self.store.find_holds(HoldFilter(person_uid=uid), RECENT_HOLDS)
        return newest[::-1]

    def posterior(self, uid: str) -> Posterior:
        """Return a person's endurance."""
        return fit_endurance(efforts_of(self.recent_holds(uid), self._now_utc_ns()))

    def endurance(self, uid: str) -> EnduranceOverview:
        """Return everything that is known of a person's endurance."""
        return endurance_overview(efforts_of(self.recent_holds(uid), self._now_utc_ns()))

    def strength(self, uid: str) -> tuple[list[StrengthPoint], list[StrengthPoint]]:
        """Return the estimates of a person's strength day by day, and where the trend leads from today."""
        zone, now_ns = zone_of(self.person(uid).time_zone), self._now_utc_ns()
        efforts, seconds = efforts_of(self.recent_holds(uid), now_ns), self.programme(uid)[0].trial.seconds
        ahead = strength_ahead(fit_trend(efforts), local_day(now_ns, zone), seconds)
        return strength_course(efforts, now_ns, zone, seconds), ahead

    def days(self, uid: str) -> DayLedger:
        """Return how the programme's days have gone so far."""
        person, (programme, _) = self.person(uid), self.programme(uid)
        zone, now_ns = zone_of(person.time_zone), self._now_utc_ns()
        today = local_day(now_ns, zone)
        since_ns = self._begun_ns(uid)
        first = local_day(since_ns, zone) if since_ns is not None else today
        begin_ns = day_bounds_ns(first, zone)[0]
        # A hold that began just before the first midnight reaches into the first day.
        margin_ns = round(LONGEST_BY_HAND_s * 1e9)
        hold_filter = HoldFilter(person_uid=uid, since_utc_ns=begin_ns - margin_ns)
        by_hand = self.store.people.manual_hangs(uid, begin_ns - margin_ns)
        minutes = minutes_of_spans(self.store.hold_spans(hold_filter), by_hand, zone)
        resting = resting_days(programme.pauses, first, today)
        return ledger(minutes, today, first, programme.day.minutes, programme.day.days, resting)

    def prescribe(self, uid: str) -> DayPrescription:
        """Return what a person does next."""
        programme, _ = self.programme(uid)
        intake = self.latest_intake(uid)
        return prescribe_day(
            programme,
            self.recent_holds(uid),
            intake[1] if intake else None,
            self.stops(uid),
            self.days(uid),
            self._now_utc_ns(),
            self.today(uid),
        )

    def progress(self, uid: str, first: dt.date | None = None, last: dt.date | None = None) -> Progress:
        """Return a person's progress from the first to the last day (both included); without them, all of it."""
        person = self.person(uid)
        zone = zone_of(person.time_zone)
        since_ns = None if first is None else day_bounds_ns(first, zone)[0]
        until_ns = None if last is None else day_bounds_ns(last, zone)[1]
        hangs = [h for h in self.store.people.manual_hangs(uid, since_ns) if until_ns is None or h.at_utc_ns < until_ns]
        pains = [e for e in self.store.people.pains(uid, since_ns) if until_ns is None or e.at_utc_ns < until_ns]
        return progress(self.holds(uid, since_ns, until_ns), hangs, pains, zone)

    def compare(
        self, uid: str, before: tuple[dt.date, dt.date], after: tuple[dt.date, dt.date]
    ) -> dict[str, Comparison]:
        """Return two periods (first and last day each) of a person compared in every measure."""
        zone = zone_of(self.person(uid).time_zone)
        earlier, later = (
            self.holds(uid, day_bounds_ns(first, zone)[0], day_bounds_ns(last, zone)[1])
            for first, last in (before, after)
        )
        return compared(earlier, later)
