"""Results as a table for people."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from monitor.measures.flag_words import in_words
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from monitor.records.hold_result import HoldResult
    from monitor.records.session_result import SessionResult

WIDTH_OF_A_FILE = 120


def show_record(path: Path, result: SessionResult) -> None:
    """Print one file's result."""
    console = Console()
    if not console.is_terminal:
        console = Console(width=WIDTH_OF_A_FILE)
    weight = with_u(result.bodyweight_N, result.bodyweight_u_N, "N")
    quality = result.quality
    rate = f"{quality.rate_Hz:.2f} per second" if quality.rate_Hz else "rate not known"
    console.print(f"[bold]{path}[/bold]   bodyweight {weight}")
    console.print(
        f"{quality.samples} readings at {rate}, {quality.lost} lost, {quality.spikes} spikes masked", highlight=False
    )
    for flag in result.flags:
        console.print(f"  · {in_words(flag)}", highlight=False)
    if not result.holds:
        console.print("no hold\n")
        return
    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("hold", "from", "held", "hands", "feet", "kind", "swing"):
        table.add_column(name, no_wrap=True)
    for number, hold in enumerate(result.holds, start=1):
        table.add_row(str(number), *_cells(hold))
    console.print(table)
    for number, hold in enumerate(result.holds, start=1):
        for note in _notes(hold):
            console.print(f"  hold {number}: {note}", highlight=False)
    console.print()


def _cells(hold: HoldResult) -> list[str]:
    feet = with_u(hold.alpha_mean, hold.alpha_u, "%", scale=100)
    if hold.alpha_mean is not None and not hold.alpha_direct:
        feet += " (inferred)"
    hands = with_u(hold.beta_mean, hold.beta_u, "%", scale=100)
    if hold.beta_mean is not None and "beta_inferred" in hold.flags:
        hands += " (inferred)"
    swing = "not known"
    if hold.swing is not None and hold.swing.max_deg is not None:
        swing = f"to {hold.swing.max_deg:.1f}°"
        if hold.swing.frequency_Hz is not None:
            swing += f", {hold.swing.frequency_Hz:.2f} Hz"
    elif "swing_below_0.8_deg" in hold.flags:
        swing = "under 0.8°"
    return [
        f"{hold.onset_s:.2f} s",
        with_u(hold.duration_s, hold.duration_u_s, "s"),
        hands,
        feet,
        ", ".join(x for x in (hold.support, hold.kind) if x) or "not known",
        swing,
    ]


def _notes(hold: HoldResult) -> list[str]:
    """Return what happened in a hold, and why something is missing."""
    notes = []
    if hold.regrips:
        notes.append(f"{len(hold.regrips)} regrip{'s' if len(hold.regrips) > 1 else ''}, bridged")
    if hold.grip_changes_s:
        notes.append(f"{len(hold.grip_changes_s)} changes of hands")
    notes += [f"foot touched at {t.start_s:.2f} s ({t.alpha_peak:.0%})" for t in hold.touches]
    notes += [f"{t.fraction:.1%} carried elsewhere, {t.start_s:.1f} to {t.end_s:.1f} s" for t in hold.third_support]
    notes += [
        f"{'rose' if t.travel_mm > 0 else 'sank'} {with_u(abs(t.travel_mm), t.u_mm, 'mm')} at {t.start_s:.1f} s"
        for t in hold.travel
    ]
    shown = ("third_support", "swing_below_0.8_deg")
    return notes + [in_words(f) for f in hold.flags if f not in shown]
