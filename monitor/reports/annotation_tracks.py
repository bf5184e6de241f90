"""Tracks of short marks under the curve: shoulders, travel, touches, regrips, hand changes, third support."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.records.hold_result import HoldResult
from monitor.reports import notebook as nb
from monitor.reports.page import Page
from monitor.uncertainty import with_u

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, slots=True)
class Mark:
    """A short mark in a track under the curve, with a word or number after it."""

    start_s: float
    end_s: float
    word: str = ""
    level: float = 0.5
    unsure: bool = False


def tracks_of(holds: list[HoldResult]) -> dict[str, tuple[str, list[Mark]]]:
    """Return the tracks that have something to show: name, colour, marks."""

    def all_of(make: Iterable[Mark]) -> list[Mark]:
        return sorted(make, key=lambda mark: mark.start_s)

    # Relaxed shoulders sit high, drawn ones low, as on the live page.
    states = (
        Mark(s.start_s, s.end_s, s.state, 0.8 if s.state == "passive" else 0.2, s.certainty < 0.75)
        for h in holds
        for s in h.states
    )
    travel = (Mark(m.start_s, m.end_s, _travel_words(m.travel_mm, m.u_mm)) for h in holds for m in h.travel)
    touches = (Mark(m.start_s, m.end_s, f"{100 * m.alpha_peak:.0f}") for h in holds for m in h.touches)
    third = (Mark(m.start_s, m.end_s, f"{100 * m.fraction:.0f}") for h in holds for m in h.third_support)
    regrips = (Mark(m.start_s, m.end_s, f"{m.end_s - m.start_s:.2f}") for h in holds for m in h.regrips)
    changes = (Mark(at_s, at_s) for h in holds for at_s in h.grip_changes_s)
    tracks = {
        "shoulders": (nb.INK, all_of(states)),
        "travel (mm)": (nb.INK, all_of(travel)),
        "foot touches (%)": (nb.FEET, all_of(touches)),
        "regrips (s)": (nb.HANDS, all_of(regrips)),
        "hand changes": (nb.HANDS, all_of(changes)),
        "third support (%)": (nb.ATTENTION, all_of(third)),
    }
    return {name: track for name, track in tracks.items() if track[1]}


def draw_track(axes: Axes, page: Page, name: str, colour: str, marks: list[Mark]) -> None:
    """Draw short marks with their words; a word that would run into the next one is left out."""
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.annotate(
        name,
        (0.0, 0.5),
        xycoords="axes fraction",
        xytext=(-6, 0),
        textcoords="offset points",
        size=nb.SMALL_pt,
        color=colour,
        ha="right",
        va="center",
    )
    free_s = page.start_s
    for mark, after in zip(marks, [*marks[1:], None], strict=True):
        width_s = max(mark.end_s - mark.start_s, 0.03 / page.in_per_s)
        style = (0, (3, 2)) if mark.unsure else "solid"
        axes.plot(
            [mark.start_s, mark.start_s + width_s],
            [mark.level] * 2,
            color=colour,
            linewidth=2.2,
            linestyle=style,
            solid_capstyle="butt",
            zorder=3,
        )
        word_s = (nb.text_width_in(mark.word, nb.SMALL_pt) + 0.1) / page.in_per_s
        inside = mark.level != 0.5
        at_s = max(
            free_s, mark.start_s + 0.04 / page.in_per_s if inside else mark.start_s + width_s + 0.06 / page.in_per_s
        )
        end_s = min(mark.end_s if inside else page.end_s, page.end_s if after is None or inside else after.start_s)
        if mark.word and at_s + word_s <= end_s:
            level = 0.5 if not inside else 1.0 - mark.level
            axes.text(at_s, level, mark.word, size=nb.SMALL_pt, color=colour, va="center")
            free_s = at_s + word_s


def _travel_words(travel_mm: float, u_mm: float) -> str:
    arrow = "↑" if travel_mm >= 0 else "↓"
    return f"{arrow} {with_u(abs(travel_mm), u_mm)}"
