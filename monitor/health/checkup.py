"""A check of the rig as a state machine: it sets tasks, watches the loads, and gives verdicts at the end.

It works on windows of a fixed number of readings, so the result does not depend on how the stream was cut. No key needs
to be pressed: it detects when a cell is pressed and when a person keeps still, and skips a task where nothing comes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import BoardFacts, BoardFault, LinkState, SourceEvent
from monitor.errors import TellableError
from monitor.health.board import answer_verdict, loss_verdict, rate_verdict
from monitor.health.cells import LEAST_PRESS_N, Stillness, drift_verdict, noise_verdict, press_verdicts, stillness
from monitor.health.creep import covers_half_hour, creep_verdict
from monitor.health.load_agreement import Standing, closure_verdict, corner_verdict
from monitor.health.ratings import HEAVIEST_kg, rating_verdicts
from monitor.health.tasks import Task, tasks_for
from monitor.health.verdict import Verdict, worst
from monitor.health.zero import ZeroReading, read_zero
from monitor.newtons.calibrating.guided_calibration import COUNTS_AT_CAPACITY
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import Rig
from monitor.signals.windows import OFF_ZERO_N, PRESENT_N, QUIET_FLOOR_N, QUIET_OF_LOAD
from monitor.statistics import column_medians

Array = NDArray[np.float64]

WINDOW_S = 0.5
"""Length of a window (common practice, no source)."""

STILL_WINDOWS, PRESS_WINDOWS = 6, 2
"""Windows for which a person must keep still, and a cell be pressed (common practice, no source)."""

USUAL_CAPACITY_N = 2000.0
"""Capacity of a cell whose rating is not entered (common practice, no source)."""

TOWARDS = 0.25
"""How far towards a place, as a share of the way, a person must stand or hang to count as being there
(common practice, no source)."""

ZERO_GOOD_N = 2.0
"""An empty part that reads less has a good zero (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Progress:
    """What to show: the running task (None when all is done), its number, and how long it has run (s of the board)."""

    task: Task | None
    number: int
    of: int
    seconds: float
    remark: str


def rough_calibration(rig: Rig) -> Calibration:
    """Return the calibration of cells of rated capacity with the reference electronics: enough to detect movements."""
    channels = tuple(
        ChannelCalibration(c.name, 0.0, (c.rated_N or USUAL_CAPACITY_N) / COUNTS_AT_CAPACITY) for c in rig.channels
    )
    return Calibration(channels, "rough")


class Checkup:
    """Leads through the tasks of a rig.

    Parameters
    ----------
    rig : Rig
    calibration : Calibration or None
        None: the rig was never calibrated; what needs one is unknown.
    empty_s : float
        How long the empty rig is watched.
    heaviest_kg : float
        The heaviest person who may use the rig.
    with_person : bool
        False: only what an empty rig shows.
    largest_peak_N : float or None
        Largest load that a stored hold put on the bar.
    """

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration | None,
        *,
        empty_s: float = 60.0,
        heaviest_kg: float = HEAVIEST_kg,
        with_person: bool = True,
        largest_peak_N: float | None = None,
    ) -> None:
        self.rig, self.calibration = rig, calibration
        self.empty_s, self.heaviest_kg, self.largest_peak_N = empty_s, heaviest_kg, largest_peak_N
        self.tasks = tasks_for(rig, empty_s, with_person=with_person)
        self._scale = calibration or rough_calibration(rig)
        self._rows = max(4, round(WINDOW_S * rig.nominal_rate_Hz))
        self._facts: BoardFacts | None = None
        self._faults: list[BoardFault] = []
        self._trouble = self._remedy = ""
        self._samples = self._lost = self._damaged = 0
        self._spans: list[tuple[int, float]] = []
        self._segment, self._last_s = -1, 0.0
        self._pending: list[NDArray[np.int32]] = []
        self._pending_rows = 0
        self._number = 0
        self._windows = 0
        self._empty: list[NDArray[np.int32]] = []
        self._empty_counts: NDArray[np.int32] | None = None
        self._base_N: Array | None = None
        self._pressed: dict[str, Array | None] = {}
        self._pressing: list[Array] = []
        self._still: list[Array] = []
        self._stood: dict[str, Standing | None] = {}
        self._remark = ""

    @property
    def finished(self) -> bool:
        """Say whether every task was done or given up."""
        return self._number >= len(self.tasks)

    @property
    def progress(self) -> Progress:
        """Return what to show now."""
        task = None if self.finished else self.tasks[self._number]
        return Progress(task, self._number + 1, len(self.tasks), self._windows * WINDOW_S, self._remark)

    @property
    def rate_Hz(self) -> float | None:
        """Return the measured rate: readings (lost ones counted) over the board's time; None after too few."""
        rows = sum(n for n, _ in self._spans)
        seconds = sum(s for _, s in self._spans)
        return rows / seconds if rows >= 2 * self._rows and seconds > 0 else None

    def give_up(self, why: str, remedy: str = "") -> None:
        """End the check; tasks that were not done are reported as such."""
        self._trouble, self._remedy = why, remedy
        self._number = len(self.tasks)

    def skip(self) -> None:
        """Skip the running task; only the empty rig cannot be skipped, since everything else rests on it."""
        task = self.progress.task
        if task is not None and task.kind != "empty":
            self._close(task)

    def take(self, event: SourceEvent) -> None:
        """Take an event of the source."""
        if isinstance(event, BoardFacts):
            self._facts = event
        elif isinstance(event, BoardFault):
            self._faults.append(event)
        elif isinstance(event, LinkState):
            if event.condition != "connected":
                self._trouble, self._remedy = f"{event.condition}: {event.reason}".strip(": "), event.do
            else:
                self._trouble = self._remedy = ""
        elif isinstance(event, CountBlock) and len(event):
            self._count(event)

    def _count(self, block: CountBlock) -> None:
        self._damaged += block.damaged
        if block.counts.shape[1] != len(self.rig.channels):
            self.give_up(f"The board sends {block.counts.shape[1]} channels.")
            return
        self._samples += len(block)
        if block.segment != self._segment:
            self._segment, self._last_s = block.segment, float(block.board_s[0])
            self._pending, self._pending_rows = [], 0
            self._spans.append((len(block) - 1, float(block.board_s[-1]) - self._last_s))
        else:
            self._lost += block.lost_before
            self._spans.append((len(block) + block.lost_before, float(block.board_s[-1]) - self._last_s))
        self._last_s = float(block.board_s[-1])
        self._pending.append(block.counts)
        self._pending_rows += len(block)
        if self._pending_rows < self._rows:
            return
        rows = np.concatenate(self._pending)
        whole = len(rows) // self._rows * self._rows
        for first in range(0, whole, self._rows):
            if not self.finished:
                self._window(rows[first : first + self._rows])
        self._pending, self._pending_rows = [rows[whole:]], len(rows) - whole

    def _window(self, counts: NDArray[np.int32]) -> None:
        """Process one window of readings."""
        task = self.tasks[self._number]
        self._windows += 1
        load_N = self._scale.newtons(counts)
        # The median: one wild reading must not look like a press.
        mean_N = np.nan_to_num(column_medians(load_N))
        if task.kind == "empty":
            done = self._watch_empty(counts, mean_N)
        elif task.kind == "press":
            done = self._watch_press(task, mean_N)
        else:
            done = self._watch_still(task, load_N, mean_N)
        if done or self._windows * WINDOW_S >= task.patience_s:
            self._close(task)

    def _close(self, task: Task) -> None:
        """Go on to the next task, whether this one was done or not."""
        if task.kind == "empty":
            self._empty_counts = np.concatenate(self._empty)
            load_N = self._scale.newtons(self._empty_counts)
            self._base_N = np.nan_to_num(column_medians(load_N))
        elif task.kind == "press":
            self._pressed.setdefault(task.at, None)
        else:
            self._stood.setdefault(task.key, None)
        self._number, self._windows, self._remark = self._number + 1, 0, ""
        self._pressing, self._still = [], []

    def _watch_empty(self, counts: NDArray[np.int32], mean_N: Array) -> bool:
        if self._empty:
            first_N = np.nan_to_num(column_medians(self._scale.newtons(self._empty[0])))
            if abs(float((mean_N - first_N).sum())) > LEAST_PRESS_N:
                self._remark = "Something is on the rig: watching begins anew."
                self._empty = []
        self._empty.append(counts)
        return len(self._empty) * self._rows >= self.empty_s * (self.rate_Hz or self.rig.nominal_rate_Hz)

    def _change_N(self, mean_N: Array) -> Array:
        return mean_N if self._base_N is None else np.asarray(mean_N - self._base_N)

    def _watch_press(self, task: Task, mean_N: Array) -> bool:
        change_N = self._change_N(mean_N)
        top = float(np.max(np.abs(change_N)))
        if top >= LEAST_PRESS_N:
            self._pressing.append(change_N)
            self._remark = f"{self.rig.names[int(np.argmax(np.abs(change_N)))]} moves: {top:.0f} N. Let go."
            return False
        if len(self._pressing) >= PRESS_WINDOWS and top < LEAST_PRESS_N / 2:
            self._pressed[task.at] = max(self._pressing, key=lambda change: float(np.max(np.abs(change))))
            return True
        return False

    def _watch_still(self, task: Task, load_N: Array, mean_N: Array) -> bool:
        change_N = self._change_N(mean_N)
        total_N = float(change_N.sum())
        scatter_N = float(np.nanstd(load_N.sum(axis=1))) if not np.isnan(load_N).all() else np.inf
        quiet = scatter_N < QUIET_FLOOR_N + QUIET_OF_LOAD * abs(total_N)
        there = total_N > PRESENT_N and self._is_there(task, change_N, total_N)
        self._remark = "still" if quiet and there else ("there, keep still" if there else "waiting")
        self._still = [*self._still, change_N] if quiet and there else []
        if len(self._still) < STILL_WINDOWS:
            return False
        self._stood[task.key] = Standing(np.mean(self._still, axis=0))
        return True

    def _is_there(self, task: Task, change_N: Array, total_N: float) -> bool:
        """Say whether a person is where the task wants them."""
        rig = self.rig
        index = rig.bar_index if task.kind == "hang" else rig.platform_index
        part_N = float(change_N[list(index)].sum())
        if part_N < 0.85 * total_N:
            return False
        cells = [rig.channels[i] for i in index]
        middle = np.mean([[c.x_m, c.y_m] for c in cells], axis=0)
        place = change_N[list(index)] @ np.array([[c.x_m, c.y_m] for c in cells]) / part_N
        if task.kind == "corner":
            cell = next(c for c in cells if c.name == task.at)
            way = np.array([cell.x_m, cell.y_m]) - middle
            return bool((place - middle) @ way >= TOWARDS * (way @ way)) if way.any() else True
        if task.kind == "hang" and task.at:
            half = max(abs(c.x_m - middle[0]) for c in cells)
            return bool((place[0] - middle[0]) * (1 if task.at == "right" else -1) >= 0.5 * TOWARDS * half)
        return True

    # Results

    def _stillness(self) -> list[Stillness]:
        counts, rate_Hz = self._empty_counts, self.rate_Hz or self.rig.nominal_rate_Hz
        if counts is None:
            return []
        load_N = self._scale.newtons(counts)
        spans = [c.N_per_count for c in self._scale.channels]
        return [stillness(n, load_N[:, i], rate_Hz, spans[i]) for i, n in enumerate(self.rig.names)]

    def _half_hours(self) -> list[Verdict]:
        counts, rate_Hz = self._empty_counts, self.rate_Hz or self.rig.nominal_rate_Hz
        if counts is None or not covers_half_hour(len(counts) / rate_Hz):
            return []
        load_N = self._scale.newtons(counts)
        rated = [c.rated_N for c in self.rig.channels]
        return [creep_verdict(n, load_N[:, i], rate_Hz, rated[i]) for i, n in enumerate(self.rig.names)]

    def zero(self) -> ZeroReading | None:
        """Return the zero that the empty rig proposes; None where it was not empty and still, or never calibrated."""
        if self.calibration is None or self._empty_counts is None:
            return None
        try:
            return read_zero(self.rig, self.calibration, self._empty_counts, self.rate_Hz or self.rig.nominal_rate_Hz)
        except TellableError:
            return None

    def _zero_verdict(self) -> Verdict:
        key, title = "zero", "Zeros"
        if self.calibration is None:
            return Verdict(key, title, "not_told", "There is no calibration yet.", "hang-monitor calibrate")
        proposed = self.zero()
        if proposed is None:
            words = "The rig was not empty and still for long enough."
            return Verdict(key, title, "not_told", words, "Check again with nothing on the rig.")
        shifts = dict(zip(proposed.names, proposed.shift_N, strict=True))
        parts = {
            part: sum(proposed.shift_N[i] for i in index)
            for part, index in (("bar", self.rig.bar_index), ("platform", self.rig.platform_index))
            if index
        }
        worst_N = max(abs(shift) for shift in parts.values())
        words = ", ".join(f"the empty {part} reads {shift:+.2f} N" for part, shift in parts.items()) + "."
        numbers = {f"{name}_N": shift for name, shift in {**parts, **shifts}.items()}
        if worst_N <= ZERO_GOOD_N:
            return Verdict(key, title, "good", words, "", numbers)
        do = "Take a new zero: hang-monitor zero. Nothing is changed by itself."
        return Verdict(key, title, "doubtful" if worst_N <= OFF_ZERO_N else "bad", words, do, numbers)

    def verdicts(self) -> list[Verdict]:
        """Return the verdicts so far, in the order of the tasks."""
        rig, facts = self.rig, self._facts
        verdicts = [
            answer_verdict(rig, facts, "" if self._samples else self._trouble, self._remedy),
            rate_verdict(rig, facts, self.rate_Hz),
            loss_verdict(self._samples, self._lost, self._damaged, tuple(self._faults)),
        ]
        if self._trouble and self._samples:
            verdicts.append(Verdict("ended", "The check was cut off", "bad", self._trouble, self._remedy))
        cells = self._stillness()
        converter = facts.converter if facts is not None else ""
        verdicts += [noise_verdict(cell, converter, self.rate_Hz or rig.nominal_rate_Hz) for cell in cells]
        verdicts += [drift_verdict(cell, self.empty_s) for cell in cells]
        verdicts += self._half_hours()
        verdicts.append(self._zero_verdict())
        verdicts += press_verdicts(rig, self._pressed)
        corners = {t.at: self._stood.get(t.key) for t in self.tasks if t.kind == "corner"}
        if corners:
            verdicts.append(corner_verdict("platform", corners, self.calibration))
        hangs = [(_hang_words(t), self._stood.get(t.key)) for t in self.tasks if t.kind == "hang"]
        if hangs:
            verdicts.append(closure_verdict(self._stood.get("stand"), hangs, self.calibration))
        return [*verdicts, *rating_verdicts(rig, self.heaviest_kg, self.largest_peak_N)]

    def report(self, at: str) -> dict[str, Any]:
        """Return everything as plain JSON data; ``at`` is the instant (ISO 8601)."""
        verdicts = [replace(v, numbers={k: _plain(n) for k, n in v.numbers.items()}) for v in self.verdicts()]
        zero = self.zero()
        return {
            "at": at,
            "rig": self.rig.name,
            "invented": self.rig.invented,
            "calibration": self.calibration.id if self.calibration else None,
            "empty_s": self.empty_s,
            "heaviest_kg": self.heaviest_kg,
            "outcome": worst(verdicts),
            "verdicts": [verdict.as_dict() for verdict in verdicts],
            "zero_proposal": zero.as_dict() if zero else None,
            "allan_N": {
                cell.name: [[float(t), float(d)] for t, d in zip(cell.allan.tau_s, cell.allan.deviation, strict=True)]
                for cell in self._stillness()
                if cell.allan is not None
            },
        }


def _hang_words(task: Task) -> str:
    return f"hanging to the {task.at}" if task.at else "hanging"


def _plain(value: Any) -> Any:
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
