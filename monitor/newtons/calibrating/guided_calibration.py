"""The guided calibration as a state machine: says what to do, watches, takes readings, refuses nonsense."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.counts import NO_READING, CountBlock
from monitor.errors import TellableError
from monitor.newtons.calibrating.averaging import SETTLE_S, Averager, Reading, Watch
from monitor.newtons.calibrating.mass_correction import corrected_plan
from monitor.newtons.calibrating.outcome import Outcome, evaluate
from monitor.newtons.calibrating.plan import Plan, Step, check_plan
from monitor.newtons.calibrating.plausibility import StepReading, check_reading
from monitor.newtons.calibrating.refusals import CalibrationUnfinished, ConverterSaturated, NeverStill
from monitor.newtons.calibration import Calibration
from monitor.newtons.least_squares import polynomial_fit
from monitor.rig import Rig
from monitor.statistics import inliers

Stage = Literal["warm_up", "place", "reading", "refused", "finished"]
Array = NDArray[np.float64]

WARM_UP_S = 30.0
"""How long the empty rig is watched (common practice, no source)."""

WARM_DRIFT_N_per_min = 0.2
"""A zero that drifts faster is still warming up: 20 gf a minute (common practice, no source)."""

COUNTS_AT_CAPACITY = 2**22
"""About what the reference electronics give at a cell's capacity; only used before
anything better is known."""

READING_SHARE = 0.1
"""Share of the wanted uncertainty that a single reading may use up (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Progress:
    """What to show now.

    Attributes
    ----------
    stage : Stage
    step, steps : int
        Number of the running step, and of all.
    do : str
        What the person is to do, or what is going on.
    watch : Watch or None
        The running reading.
    drift_N_per_min : float or None
        While warming up: of the fastest cell; None where it is not known yet.
    reading : Reading or None
        The newest finished reading.
    refusal : TellableError or None
        Why the newest reading was refused.
    """

    stage: Stage
    step: int
    steps: int
    do: str
    watch: Watch | None = None
    drift_N_per_min: float | None = None
    reading: Reading | None = None
    refusal: TellableError | None = None


def instruction(step: Step, before: Step | None) -> str:
    """Return what has to be done for a step, in one sentence."""
    where = f"the {step.part}" if step.place.label == "anywhere" else f"the {step.part} at {step.place.label}"
    if not step.masses:
        return f"Take everything off the {step.part} and let it rest."
    had = before.masses if before is not None and before.place == step.place else ()
    added = [m for m in step.masses if m not in had]
    removed = [m for m in had if m not in step.masses]
    if removed and not added:
        return f"Take {', '.join(removed)} off {where}; {', '.join(step.masses)} stay."
    more = " as well" if had else ""
    verb = "Hang" if step.part == "bar" else "Put"
    return f"{verb} {', '.join(added)} on {where}{more}; let it come to rest."


class GuidedCalibration:
    """Leads through a plan.

    It starts in the warm-up, then asks for each step (stage ``place``); ``confirm`` says that the load is placed, the
    blocks pushed from then on are settled and averaged (``reading``). After the last step it is ``finished``.

    Parameters
    ----------
    rig : Rig
    plan : Plan
    previous : Calibration, optional
        The last one, in the order of the rig's channels: finds masses in pounds and flipped signs at once.
    rate_Hz : float, optional
        Measured rate; the rig's nominal one where left out.
    warm_up_s : float
        How long the empty rig is watched; 0 skips it, and the result says so.

    Raises
    ------
    BadPlan, CellOverloaded
    """

    def __init__(
        self,
        rig: Rig,
        plan: Plan,
        *,
        previous: Calibration | None = None,
        rate_Hz: float | None = None,
        warm_up_s: float = WARM_UP_S,
    ) -> None:
        check_plan(plan, rig)
        self.rig, self.plan, self.previous = rig, plan, previous
        self._rate_Hz = rate_Hz or rig.nominal_rate_Hz
        self._warm_up_s = warm_up_s
        self._warming: list[Array] = []
        self._warm_rows = 0
        self._taken: list[StepReading] = []
        self._flags: list[str] = []
        self._averager: Averager | None = None
        self._segment, self._offset_s, self._last_s = -1, 0.0, 0.0
        self._drift: float | None = None
        self._refusal: TellableError | None = None
        self._refused: StepReading | None = None
        self._stage: Stage = "warm_up"
        if warm_up_s <= 0:
            self.skip_warm_up()

    # For a screen

    @property
    def step(self) -> Step | None:
        """Return the step that is due, None when all were read."""
        return self.plan.steps[len(self._taken)] if len(self._taken) < len(self.plan.steps) else None

    @property
    def taken(self) -> Sequence[StepReading]:
        """Return the readings so far."""
        return tuple(self._taken)

    @property
    def progress(self) -> Progress:
        """Return what to show now."""
        step, number = self.step, len(self._taken)
        before = self._taken[-1].step if self._taken else None
        return Progress(
            stage=self._stage,
            step=min(number + 1, len(self.plan.steps)),
            steps=len(self.plan.steps),
            do=self._words(step, before),
            watch=self._averager.watch if self._averager is not None else None,
            drift_N_per_min=self._drift,
            reading=self._taken[-1].reading if self._taken else None,
            refusal=self._refusal,
        )

    def _words(self, step: Step | None, before: Step | None) -> str:
        if self._stage == "warm_up":
            if self._drift is not None and abs(self._drift) > WARM_DRIFT_N_per_min:
                return f"Leave the rig empty: a cell still drifts by {abs(self._drift):.2f} N a minute."
            return f"Leave the rig empty and switched on; it is watched for {self._warm_up_s:.0f} s."
        if step is None:
            return "All loads were read."
        if self._stage == "reading":
            return "Hands off: reading."
        return instruction(step, before)

    # A person's actions

    def skip_warm_up(self) -> None:
        """Go on without waiting for a steady zero; the result says so."""
        if self._stage == "warm_up":
            self._flags.append("the warm-up was skipped")
            self._stage = "place"

    def confirm(self) -> None:
        """Confirm that the step's load is placed: its reading begins with the next block."""
        step = self.step
        if self._stage not in ("place", "refused") or step is None:
            return
        zeros = [t.reading for t in self._taken if not t.step.masses]
        self._refusal = self._refused = None
        self._averager = Averager(
            self._rate_Hz,
            list(self.rig.bar_index if step.part == "bar" else self.rig.platform_index),
            zero_counts=zeros[-1].counts if zeros and step.masses else None,
            target_share=READING_SHARE * self.plan.wanted_u_rel,
            dwell_s=step.dwell_s,
        )
        self._stage = "reading"

    def back(self) -> None:
        """Discard the newest reading (or refusal), so that its step is done again."""
        if self._stage == "refused":
            self._refusal, self._refused, self._stage = None, None, "place"
            return
        if self._taken:
            self._taken.pop()
        self._averager = None
        if self._stage != "warm_up":
            self._stage = "place"

    def correct(self, masses_kg: Mapping[str, float]) -> None:
        """Correct kilograms of masses by name; readings stay, and one that was refused for its mass is judged anew.

        Raises
        ------
        BadPlan, CellOverloaded
        TellableError
            A reading that was taken makes no sense with them. Nothing was changed then.
        """
        plan = corrected_plan(self.plan, masses_kg)
        check_plan(plan, self.rig)
        taken: list[StepReading] = []
        for step, before in zip(plan.steps, self._taken, strict=False):
            now = StepReading(step, before.reading)
            check_reading(self.rig, plan, taken, now, self.previous)
            taken.append(now)
        self._flags += [
            f"{name} was corrected to {masses_kg[name]:g} kg during the calibration"
            for name, mass in self.plan.masses.items()
            if masses_kg.get(name, mass.kg) != mass.kg
        ]
        self.plan, self._taken = plan, taken
        if self._refused is not None:
            self._judge(StepReading(plan.steps[len(taken)], self._refused.reading))

    # The rig's readings

    def push(self, block: CountBlock) -> Progress:
        """Take readings; their use depends on the stage."""
        t_s = self._times(block)
        if self._stage == "warm_up":
            self._warm(block)
        elif self._stage == "reading" and self._averager is not None:
            watch = self._averager.push(t_s, block)
            if watch.phase in ("done", "restless", "saturated"):
                self._close(watch)
        return self.progress

    def _times(self, block: CountBlock) -> Array:
        """Return the block's times on one scale across restarts of the board's clock."""
        if len(block) == 0:
            return block.board_s
        if block.segment != self._segment:
            # The board restarted and was away for an unknown time: the running reading begins again.
            self._offset_s = self._last_s + SETTLE_S - float(block.board_s[0])
            if self._segment >= 0:
                self._flags.append("the board started anew in between")
                self._warming.clear()
                if self._stage == "reading":
                    self._stage = "place"
                    self.confirm()
            self._segment = block.segment
        t_s = np.asarray(block.board_s + self._offset_s)
        self._last_s = float(t_s[-1])
        return t_s

    def _warm(self, block: CountBlock) -> None:
        self._warming.extend(np.where(block.counts == NO_READING, np.nan, block.counts.astype(np.float64)))
        self._warm_rows += len(block)
        window = round(self._warm_up_s * self._rate_Hz)
        # Once a second is often enough.
        if len(self._warming) < window or self._warm_rows < self._rate_Hz:
            return
        self._warming, self._warm_rows = self._warming[-window:], 0
        self._drift = self._drift_N_per_min(np.array(self._warming))
        if self._drift is None:
            self._flags.append("the warm-up was waited for but could not be judged")
            self._stage = "place"
        elif abs(self._drift) <= WARM_DRIFT_N_per_min:
            self._stage = "place"

    def _drift_N_per_min(self, rows: Array) -> float | None:
        """Return the drift of the fastest cell, None where no cell's scale is known even roughly."""
        drifts: list[float] = []
        for column, channel in enumerate(self.rig.channels):
            values = rows[:, column]
            good = inliers(values, 1.0)
            if good.sum() < 0.5 * len(values):
                continue
            minutes = np.arange(len(values))[good] / self._rate_Hz / 60
            slope = polynomial_fit(minutes, values[good], 1, origin=float(minutes.mean())).coefficients[1]
            if self.previous is not None:
                drifts.append(float(slope) * abs(self.previous.channels[column].N_per_count))
            elif channel.rated_N is not None:
                drifts.append(float(slope) * channel.rated_N / COUNTS_AT_CAPACITY)
        return max(drifts, key=abs, default=None)

    def _close(self, watch: Watch) -> None:
        """End the running reading, well or badly."""
        step, averager = self.step, self._averager
        if step is None or averager is None:
            return
        self._averager = None
        where = step.place.label if step.masses else f"empty {step.part}"
        try:
            if watch.phase == "saturated":
                raise ConverterSaturated(
                    what=f"The converter is at the end of its range with {' + '.join(step.masses) or 'nothing'} on it.",
                    means="More load would change nothing in the reading.",
                    do="Check the cell's wiring; choose a smaller gain or a cell of larger capacity.",
                )
            if watch.phase == "restless" or averager.reading is None:
                raise NeverStill(
                    what=f"The load at {where} did not come to rest in {averager.waited_s:.0f} s.",
                    means="Its mean would be that of a swing, or of a wire that is loose.",
                    do="Stop it from swinging, keep hands and draught away; if nothing moves, look for a loose wire.",
                )
        except TellableError as refusal:
            self._refusal, self._stage = refusal, "refused"
            return
        self._judge(StepReading(step, averager.reading))

    def _judge(self, now: StepReading) -> None:
        """Accept a finished reading, or refuse it but keep it: perhaps only its mass was mistyped."""
        try:
            check_reading(self.rig, self.plan, self._taken, now, self.previous)
        except TellableError as refusal:
            self._refusal, self._refused, self._stage = refusal, now, "refused"
            return
        self._refusal = self._refused = None
        if now.reading.limited_by:
            why = "it drifts" if now.reading.limited_by == "drift" else "the noise is large"
            self._flags.append(f"step {now.step.number}: the mean is less certain than wanted, {why}")
        self._taken.append(now)
        self._stage = "place" if self.step is not None else "finished"

    def finish(self, at: str) -> Outcome:
        """Return the result.

        Raises
        ------
        CalibrationUnfinished, FitNotPossible, SpanTooUncertain
        """
        if self._stage != "finished":
            raise CalibrationUnfinished(
                what=f"{len(self._taken)} of {len(self.plan.steps)} readings were taken.",
                means="Without the last zero it is not known how far the rig drifted; nothing was saved.",
                do="Go on to the end of the plan, or plan fewer loads.",
            )
        return evaluate(
            self.rig, self.plan, self._taken, at=at, previous=self.previous, flags=list(dict.fromkeys(self._flags))
        )
