"""The tasks of a check in order: an empty rig, each cell pressed, a person who stands and hangs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from monitor.rig import Channel, Rig

Kind = Literal["empty", "press", "corner", "stand", "hang"]

PATIENCE_PRESS_S, PATIENCE_STILL_S = 30.0, 60.0
"""How long the check waits for a press, and for a person to keep still (common practice, no source)."""

WIDE_BAR_M = 0.8
"""With cells further apart the check also asks for hangs near both ends of the bar (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do.

    Attributes
    ----------
    key : str
        ``empty``, ``press:<cell>``, ``corner:<cell>``, ``stand``, ``hang``, ``hang:left``, ``hang:right``.
    kind : Kind
    do : str
        What the person is to do.
    at : str
        Name of the cell, or the side of the bar; empty where it does not matter.
    patience_s : float
        After this long the check skips the task.
    """

    key: str
    kind: Kind
    do: str
    at: str = ""
    patience_s: float = PATIENCE_STILL_S


def tasks_for(rig: Rig, empty_s: float, *, with_person: bool = True) -> tuple[Task, ...]:
    """Return the tasks that a rig of this shape allows, in order."""
    watched = f"Leave the rig empty and still; it is watched for {empty_s:.0f} s."
    tasks = [Task("empty", "empty", watched, "", 3 * empty_s + 60)]
    if not with_person:
        return tuple(tasks)
    bar = [rig.channels[i] for i in rig.bar_index]
    feet = [rig.channels[i] for i in rig.platform_index]
    for cell in bar:
        what = f"Pull down at {cell.name} ({_place(cell)}), firmly, for two seconds, then let go."
        tasks.append(Task(f"press:{cell.name}", "press", what, cell.name, PATIENCE_PRESS_S))
    for cell in feet:
        what = f"Press on the platform at {cell.name} ({_place(cell)}), firmly, for two seconds, then let go."
        tasks.append(Task(f"press:{cell.name}", "press", what, cell.name, PATIENCE_PRESS_S))
    if len(feet) > 1:
        for cell in feet:
            what = f"Stand still near {cell.name} ({_place(cell)}), hands off the bar."
            tasks.append(Task(f"corner:{cell.name}", "corner", what, cell.name))
    if feet:
        tasks.append(Task("stand", "stand", "Stand still in the middle of the platform, hands off the bar."))
    if bar and feet:
        tasks.append(Task("hang", "hang", "Hang still from the middle of the bar, feet off the platform."))
        if len(bar) > 1 and max(c.x_m for c in bar) - min(c.x_m for c in bar) >= WIDE_BAR_M:
            for side in ("left", "right"):
                what = f"Hang still with both hands towards the {side} end of the bar, feet off the platform."
                tasks.append(Task(f"hang:{side}", "hang", what, side))
    return tuple(tasks)


def _place(cell: Channel) -> str:
    """Return where a cell is, as the person who hangs sees it."""
    words = []
    if cell.y_m:
        words.append("front" if cell.y_m > 0 else "rear")
    if cell.x_m:
        words.append("right" if cell.x_m > 0 else "left")
    return " ".join(words) or "in the middle"
