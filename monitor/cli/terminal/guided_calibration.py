"""The guided calibration in a terminal: what to do, whether the load is still, how long it takes."""

from __future__ import annotations

import select
import sys
import threading
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import LinkState, Source, SourceEvent
from monitor.errors import MonitorError, TellableError
from monitor.newtons.calibrating.guide import GuidedCalibration, Progress
from monitor.newtons.calibrating.recorded import WARM_UP_STEP, Record

if TYPE_CHECKING:
    from rich.console import RenderableType

    from monitor.demo.practice import PracticeRig

LOOK_S = 0.1


class CalibrationGivenUp(MonitorError):
    """The person ended the calibration, or the board went away for good."""

    code = "calibration-given-up"


def still_words(progress: Progress) -> str:
    """Return the stillness in words and a mark: how much the load moves, 1 being what still counts as still."""
    watch = progress.watch
    if watch is None or watch.unrest is None:
        return "waiting for readings" if progress.stage == "reading" else ""
    if watch.still:
        return "still"
    return f"moving, {min(watch.unrest, 99):.0f} times too much" if watch.unrest >= 1.5 else "nearly still"


class GuidedScreen:
    """Joins a source of counts, the state machine and a person.

    Parameters
    ----------
    machine : GuidedCalibration
    source : Source
    practice : PracticeRig or None
        The virtual rig that is loaded when a step is confirmed.
    auto : bool
        Confirm by itself; a refusal then ends the calibration.

    Attributes
    ----------
    record : Record
        The raw readings of every step.
    """

    def __init__(
        self, machine: GuidedCalibration, source: Source, practice: PracticeRig | None, *, auto: bool = False
    ) -> None:
        self.machine, self.source, self.practice, self.auto = machine, source, practice, auto
        self.record = Record(machine.rig)
        self._events: SimpleQueue[SourceEvent | None] = SimpleQueue()
        self._state = ""

    def run(self) -> None:
        """Walk through the plan.

        Raises
        ------
        CalibrationGivenUp
        TellableError
            A refusal, where nobody can answer it.
        """
        from rich.console import Console
        from rich.live import Live

        reader = threading.Thread(target=self._read, name="calibration source", daemon=True)
        reader.start()
        with Live(console=Console(stderr=True), auto_refresh=False, transient=True) as live:
            while self.machine.progress.stage != "finished":
                self._drain()
                self._answer()
                live.update(self._picture(self.machine.progress), refresh=True)
        self.source.close()
        reader.join()

    def _read(self) -> None:
        for event in self.source.events():
            self._events.put(event)
        self._events.put(None)

    def _drain(self) -> None:
        """Take what came; wait a moment where nothing did."""
        try:
            event = self._events.get(timeout=LOOK_S)
        except Empty:
            return
        while True:
            if event is None:
                raise CalibrationGivenUp(
                    what="The board ended.",
                    means="The calibration is not complete; nothing was saved.",
                    do="Check the cable, then begin again.",
                )
            self._take(event)
            if self.machine.progress.stage in ("finished", "refused"):
                return
            try:
                event = self._events.get_nowait()
            except Empty:
                return

    def _take(self, event: SourceEvent) -> None:
        if isinstance(event, LinkState):
            self._state = "" if event.condition == "connected" else f"{event.condition}: {event.reason} {event.do}"
        if not isinstance(event, CountBlock):
            return
        progress = self.machine.progress
        if progress.stage == "warm_up":
            self.record.add(WARM_UP_STEP, event)
        elif progress.stage == "reading" and self.machine.step is not None:
            self.record.add(self.machine.step.number, event)
        self.machine.push(event)

    def _answer(self) -> None:
        """Do what the person (or the automatic) says."""
        stage = self.machine.progress.stage
        refusal = self.machine.progress.refusal
        if self.auto:
            if refusal is not None:
                raise refusal
            if stage == "place":
                self._confirm()
            return
        ready, _, _ = select.select([sys.stdin], [], [], 0)
        if not ready:
            return
        word = sys.stdin.readline()
        if word.strip().lower() == "q" or not word:
            raise CalibrationGivenUp(
                what="The calibration was ended by hand.",
                means="Nothing was saved.",
                do="Start it again when the rig is free.",
            )
        if word.strip().lower() == "s" and stage == "warm_up":
            self.machine.skip_warm_up()
        elif word.strip().lower() == "b":
            self.machine.back()
        elif word.strip().lower().startswith("m"):
            self._correct(word.split()[1:])
        elif stage in ("place", "refused"):
            self._confirm()

    def _correct(self, words: list[str]) -> None:
        """Take other kilograms for a mass, given as its number in the plan and what it weighs."""
        names = list(self.machine.plan.masses)
        try:
            number, kg = (float(word.replace(",", ".")) for word in words)
            self.machine.correct({dict(enumerate(names, start=1))[int(number)]: kg})
        except (ValueError, KeyError):
            self._state = f"Type for example m {len(names)} 20.5: mass {len(names)} weighs 20.5 kg."
        except TellableError as refusal:
            self._state = f"{refusal.what} {refusal.means} {refusal.do}"
        else:
            self._state = ""

    def _confirm(self) -> None:
        step = self.machine.step
        if step is None:
            return
        if self.practice is not None:
            self.practice.place(step)
        self._let_go()
        self.record.begin(step.number)
        self.machine.confirm()

    def _let_go(self) -> None:
        """Leave out what came before the load hung: where this program lags, it would pass for the load."""
        waiting = self._events.qsize()
        for _ in range(waiting):
            event = self._events.get()
            if event is None:
                self._events.put(None)
                return
            if not isinstance(event, CountBlock):
                self._take(event)

    def _picture(self, progress: Progress) -> RenderableType:
        from rich.console import Group
        from rich.text import Text

        lines = [Text(f"Step {progress.step} of {progress.steps}", style="dim"), Text(progress.do, style="bold")]
        if progress.refusal is not None:
            refusal = progress.refusal
            lines += [Text(refusal.what), Text(refusal.means), Text(f"What to do: {refusal.do}", style="bold")]
        watch = progress.watch
        if watch is not None:
            lines.append(Text(f"{still_words(progress)}   {watch.seconds:.0f} s averaged"))
            if watch.needed_s is not None and watch.u_counts is not None:
                lines.append(Text(f"standard error {watch.u_counts:.1f} counts, about {watch.needed_s:.0f} s more"))
        if progress.stage == "reading" and watch is not None and watch.unrest is not None:
            room = 40
            filled = min(room, round(room * min(watch.unrest, 4.0) / 4.0))
            lines.append(Text(f"unrest |{'=' * filled}{' ' * (room - filled)}|  still below the mark at a quarter"))
        if progress.stage in ("place", "refused"):
            masses = (
                f"{n}: {mass.name}, {mass.kg:g} kg" for n, mass in enumerate(self.machine.plan.masses.values(), 1)
            )
            lines.append(Text(f"masses   {'   '.join(masses)}", style="dim"))
        if self._state:
            lines.append(Text(self._state, style="italic"))
        keys = {
            "warm_up": "s: go on without waiting   q: end",
            "place": "Enter: it hangs   b: the last reading again   m 1 20.5: mass 1 weighs 20.5 kg   q: end",
            "refused": "Enter: read again   b: change the load first   m 1 20.5: mass 1 weighs 20.5 kg   q: end",
        }.get(progress.stage, "q: end")
        lines.append(Text(keys, style="dim"))
        return Group(*lines)
