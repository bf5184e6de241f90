"""``hang-monitor hold``: a coach's corrections. The measurement stays; everything can be undone."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from monitor.cli.coaching_access import DATA_HELP, open_coaching
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.cli.terminal.text_io import write
from monitor.errors import BadInput

if TYPE_CHECKING:
    from monitor.records.correction import CorrectionKind

hold = typer.Typer(
    no_args_is_help=True,
    help="Correct holds: retag, split, join, discard, undo. Nothing is deleted. A hold's uid is in the list that "
    "hang-monitor export prints.",
)

UID = typer.Argument(help="The hold's uid.")
REASON = typer.Option(help="Why; stored with the correction.")
BY = typer.Option("coach", "--by", help="Who corrects.")
DATA = typer.Option(None, help=DATA_HELP)


def _correct(data: Path | None, uid: str, kind: CorrectionKind, content: dict[str, Any], reason: str, by: str) -> None:
    from monitor.made_holds import measured_content
    from monitor.store import DataFolder

    with open_coaching(data) as coaching:
        content = measured_content(coaching.store, DataFolder.open(data), uid, kind, content)
        made = coaching.store.corrections.make(uid, kind, content, reason=reason, made_by=by)
        holds = [h for h in coaching.store.holds_of_session(made.session_uid) if h.made_by == made.id]
    lines = "".join(f"\n  {h.uid}  {h.result.duration_s:.2f} s" for h in holds)
    write(f"Correction {made.id} is in force; hang-monitor hold undo {uid} takes it back.{lines}")


@hold.command("retag")
@reports_errors
def retag(
    uid: str = UID,
    kind: str = typer.Argument(help="passive, active or mixed."),
    reason: str = REASON,
    by: str = BY,
    data: Path | None = DATA,
) -> None:
    """Change the kind of a hold to passive, active or mixed."""
    _correct(data, uid, "retag", {"kind": kind}, reason, by)


@hold.command("split")
@reports_errors
def split(
    uid: str = UID,
    at_s: float = typer.Argument(help="Where, in seconds after the hold's onset."),
    reason: str = REASON,
    by: str = BY,
    data: Path | None = DATA,
) -> None:
    """Make two holds of one."""
    with open_coaching(data) as coaching:
        stored = coaching.store.get_hold(uid)
    onset_s = 0.0 if stored is None else stored.result.onset_s
    _correct(data, uid, "split", {"at_s": onset_s + at_s}, reason, by)


@hold.command("join")
@reports_errors
def join(
    uid: str = UID,
    with_uid: str = typer.Argument(help="The next hold of the same session."),
    reason: str = REASON,
    by: str = BY,
    data: Path | None = DATA,
) -> None:
    """Make one hold of two that follow each other."""
    _correct(data, uid, "join", {"with": with_uid}, reason, by)


@hold.command("discard")
@reports_errors
def discard(uid: str = UID, reason: str = REASON, by: str = BY, data: Path | None = DATA) -> None:
    """Take a hold out of every list. Its measurement and its curve stay."""
    _correct(data, uid, "discard", {}, reason, by)


@hold.command("restore")
@reports_errors
def restore(uid: str = UID, reason: str = REASON, by: str = BY, data: Path | None = DATA) -> None:
    """Bring a discarded hold back."""
    _correct(data, uid, "restore", {}, reason, by)


@hold.command("undo")
@reports_errors
def undo(uid: str = UID, by: str = BY, data: Path | None = DATA) -> None:
    """Take back the newest correction of a hold that is in force."""
    with open_coaching(data) as coaching:
        made = coaching.store.corrections.undo_last(uid, by)
        void = coaching.store.corrections.corrected(made.session_uid).void
    write(f"Correction {made.id} ({made.kind}) is undone.")
    if void:
        write(f"Without it these are void: {', '.join(map(str, sorted(void)))}.")


@hold.command("history")
@reports_errors
def history(uid: str = UID, data: Path | None = DATA) -> None:
    """List every correction of a hold, undone ones too."""
    with open_coaching(data) as coaching:
        made = coaching.store.corrections.of_hold(uid)
    lines = []
    for one in made:
        state = "in force" if one.undone_utc_ns is None else f"undone by {one.undone_by}"
        when = dt.datetime.fromtimestamp(one.at_utc_ns // 10**9, dt.UTC)
        lines.append(f"{one.id}  {one.kind}  {when:%Y-%m-%d %H:%M} UTC by {one.made_by}: {one.reason} ({state})")
    write("\n".join(lines) or "This hold was never corrected.")


@hold.command("ending")
@reports_errors
def ending(
    uid: str = UID,
    why: str = typer.Argument(help="exhausted, target, other, or unknown to take it back."),
    data: Path | None = DATA,
) -> None:
    """Enter why a hold ended: the endurance model needs to know."""
    if why not in ("exhausted", "target", "other", "unknown"):
        raise BadInput(
            what=f"{why!r} is no reason for a hold's end.",
            means="Nothing was changed.",
            do="Choose exhausted, target, other or unknown.",
        )
    with open_coaching(data) as coaching:
        coaching.store.corrections.set_ending(uid, None if why == "unknown" else why)
    write("Saved.")


@hold.command("swing-calibration")
@reports_errors
def swing_calibration(
    uid: str = UID,
    after_s: float = typer.Option(help="When it was measured, in seconds after the hold's onset.", metavar="S"),
    degrees: float | None = typer.Option(None, help="The swing's amplitude, as a phone along the body shows it."),
    u_degrees: float | None = typer.Option(None, help="Standard uncertainty of that angle; 0.5 unless given."),
    reach_m: float | None = typer.Option(
        None, "--reach", help="How far apart the toes' turning points lie, in metres.", metavar="M"
    ),
    length_m: float | None = typer.Option(None, "--length", help="From the bar to the toes, in metres.", metavar="M"),
    data: Path | None = DATA,
) -> None:
    """Enter the measured amplitude of a deliberate swing: this person's later swings are computed with their own kappa.

    Either --degrees, or --reach and --length.
    """
    from monitor.measures.swing_calibration import U_ANGLE_DEG, MeasuredAngle, angle_from_reach

    if degrees is not None:
        angle = MeasuredAngle(degrees, U_ANGLE_DEG if u_degrees is None else u_degrees)
    elif reach_m is not None and length_m is not None:
        angle = angle_from_reach(reach_m, length_m)
    else:
        raise BadInput(
            what="No amplitude was given.",
            means="Nothing was saved.",
            do="Give --degrees, or --reach with --length.",
        )
    with open_coaching(data) as coaching:
        made = coaching.calibrate_swing(uid, after_s, angle)
        now = coaching.store.swings.pendulum(made.person_uid)
    write(
        f"The cells gave {made.told_deg:.2f} degrees; measured were {made.measured_deg:.2f} ± "
        f"{made.u_measured_deg:.2f}: "
        f"kappa {made.kappa:.3f} ± {made.kappa * made.u_rel:.3f}.\n"
        f"Later swings of this person are computed with {now.kappa:.3f} ± {now.kappa * now.u_rel:.3f}; "
        "hang-monitor reanalyse --everything computes the earlier ones again."
    )
