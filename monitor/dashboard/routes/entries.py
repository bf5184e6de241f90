"""REST: what is entered by hand: pain, the cues for the lower back, hangs away from the rig."""

from __future__ import annotations

from fastapi import APIRouter

from monitor.coaching.safety.back_care import BackCare
from monitor.coaching.safety.stop_rules import Stop
from monitor.dashboard.interfaces import Coach
from monitor.dashboard.views.coaching_models import (
    HangAnswer,
    HangGiven,
    PainAnswer,
    PainGiven,
    PainSaved,
    PendulumModel,
    StopAnswer,
    SwingCalibrationModel,
    SwingGiven,
    swing_shape,
)
from monitor.dashboard.views.models import RowId
from monitor.dashboard.views.problems import InvalidRequest, NotThere
from monitor.dashboard.views.record_answers import NS_PER_MS
from monitor.measures.swing_calibration import MeasuredAngle, angle_from_reach
from monitor.records.person_entries import ManualHang, PainEntry


# Ruff adds up the branches of the routes inside; each route alone has few.
def entry_routes(coach: Coach) -> APIRouter:  # noqa: C901
    """Return the routes ``/people/{uid}/pains``, ``/stops``, ``/back-care``, ``/hangs``, ``/swing-calibrations``."""
    router = APIRouter(tags=["entries"], prefix="/people/{uid}")
    coaching = coach.coaching

    @router.get("/pains", response_model=list[PainAnswer])
    def pains(uid: str) -> list[PainEntry]:
        """List a person's entries of pain, oldest first."""
        coaching.person(uid)
        return coaching.store.people.pains(uid)

    @router.post("/pains", response_model=PainSaved, status_code=201)
    def add_pain(uid: str, given: PainGiven) -> PainSaved:
        """Store a pain entry; the response says what it pauses and whom to ask."""
        fields = given.model_dump()
        fields["symptoms"], fields["tried"] = tuple(given.symptoms), tuple(given.tried)
        entry, stops = coaching.log_pain(uid, **fields)
        return PainSaved(entry=entry, stops=stops)

    @router.get("/stops", response_model=list[StopAnswer])
    def stops(uid: str) -> list[Stop]:
        """List the pauses in force."""
        return coaching.stops(uid)

    @router.get("/back-care", response_model=BackCare)
    def back_care(uid: str) -> BackCare:
        """Return the log of the cues for the lower back, and the next one."""
        return coaching.back_care(uid)

    @router.get("/hangs", response_model=list[HangAnswer])
    def hangs(uid: str) -> list[ManualHang]:
        """List a person's hangs away from the rig, oldest first."""
        coaching.person(uid)
        return coaching.store.people.manual_hangs(uid)

    @router.post("/hangs", response_model=HangAnswer, status_code=201)
    def add_hang(uid: str, given: HangGiven) -> ManualHang:
        """Store a hang away from the rig; it is marked as entered by hand wherever it counts."""
        at_ns = None if given.at_utc_ms is None else given.at_utc_ms * NS_PER_MS
        return coaching.log_hang(uid, given.duration_s, at_ns, given.kind, given.note)

    @router.delete("/hangs/{number}", status_code=204)
    def remove_hang(uid: str, number: RowId) -> None:
        """Remove a hang entered by mistake from every list."""
        coaching.person(uid)
        mine = any(hang.id == number for hang in coaching.store.people.manual_hangs(uid))
        if not (mine and coaching.store.people.remove_manual_hang(number)):
            raise NotThere(f"hang {number} of this person")
        coaching.changed(uid)

    @router.get("/swing-calibrations", response_model=PendulumModel)
    def swings(uid: str) -> PendulumModel:
        """Return a person's deliberate swings and the kappa that later swings are computed with."""
        coaching.person(uid)
        return _pendulum_shape(uid)

    @router.post("/swing-calibrations/try", response_model=SwingCalibrationModel)
    def try_swing(uid: str, given: SwingGiven) -> SwingCalibrationModel:
        """Preview the result for the measured amplitude of a deliberate swing; nothing is stored, ``id`` is 0."""
        return swing_shape(coaching.swing_calibration(given.hold_uid, given.after_s, _angle(uid, given)))

    @router.post("/swing-calibrations", response_model=PendulumModel, status_code=201)
    def add_swing(uid: str, given: SwingGiven) -> PendulumModel:
        """Store the measured amplitude of a deliberate swing: an angle, or the distance between its turning points."""
        coaching.calibrate_swing(given.hold_uid, given.after_s, _angle(uid, given))
        return _pendulum_shape(uid)

    @router.delete("/swing-calibrations/{number}", status_code=204)
    def remove_swing(uid: str, number: RowId) -> None:
        """Take a deliberate swing back."""
        coaching.person(uid)
        if not coaching.store.swings.remove(uid, number):
            raise NotThere(f"swing {number} of this person")

    def _angle(uid: str, given: SwingGiven) -> MeasuredAngle:
        """Return what was measured, of a hold that is this person's."""
        coaching.person(uid)
        hold = coaching.store.get_hold(given.hold_uid)
        session = None if hold is None else coaching.store.get_session(hold.session_uid)
        if session is None or session.person_uid != uid:
            raise NotThere(f"hold {given.hold_uid[:80]!r} of this person")
        if given.degrees is not None:
            return MeasuredAngle(given.degrees, given.u_degrees)
        if given.reach_m is not None and given.length_m is not None:
            return angle_from_reach(given.reach_m, given.length_m)
        raise InvalidRequest("degrees: give it, or reach_m and length_m")

    def _pendulum_shape(uid: str) -> PendulumModel:
        pendulum = coaching.store.swings.pendulum(uid)
        return PendulumModel(
            kappa=pendulum.kappa,
            kappa_u=pendulum.kappa * pendulum.u_rel,
            swings=[swing_shape(one) for one in coaching.store.swings.of_person(uid)],
        )

    return router
