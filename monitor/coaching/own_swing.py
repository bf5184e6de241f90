"""A person's own kappa, from a deliberate swing whose amplitude somebody measured."""

from __future__ import annotations

from monitor.measures.swing_calibration import MeasuredAngle, SwingNotUsable, own_kappa
from monitor.records.swing_calibration import SwingCalibration
from monitor.store import Store, UnknownHold


def swing_calibration(
    store: Store, hold_uid: str, after_s: float, angle: MeasuredAngle, now_utc_ns: int
) -> SwingCalibration:
    """Return what follows from the measured amplitude of a deliberate swing; nothing is saved.

    Parameters
    ----------
    after_s : float
        When it was measured, after the hold's onset.

    Raises
    ------
    UnknownHold
    SwingNotUsable
        It is a guest's hold, or no kappa follows from it.
    """
    hold = store.get_hold(hold_uid)
    if hold is None:
        raise UnknownHold(
            what=f"There is no hold {hold_uid[:80]!r}.",
            means="Nothing was saved.",
            do="Take the hold's uid from the list of holds.",
        )
    session = store.get_session(hold.session_uid)
    if session is None or session.person_uid is None:
        raise SwingNotUsable(
            what="The hold is a guest's.",
            means="A kappa belongs to a person; nothing was saved.",
            do="First say who hung in this session.",
        )
    own = own_kappa(hold.result, after_s, angle)
    return SwingCalibration(
        0, session.person_uid, hold_uid, now_utc_ns, after_s,
        angle.degrees, angle.u_degrees, own.cells_deg, own.kappa, own.u_rel,
    )  # fmt: skip
