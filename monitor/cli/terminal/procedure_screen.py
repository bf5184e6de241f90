"""A guided procedure in a terminal: fed from a source, its steps printed, the person's keys handed on."""

from __future__ import annotations

import contextlib
import select
import sys
import threading
import time
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING

from firmware_bridge.counts import CountBlock
from firmware_bridge.sources import LinkState, Source, SourceEvent
from monitor.errors import TellableError
from monitor.procedures.calibration import CalibrationProcedure
from monitor.procedures.procedure import Procedure, ProcedureAction, ProcedureState, ended

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.live import Live

POLL_S = 0.1
SILENCE_S = 10.0
"""A connected board sends many times a second; one that is silent for so long has stopped (common practice, no
source)."""

UNREST_BAR = 40
"""Width of the bar that shows unrest, in characters."""

KEYS: dict[str, ProcedureAction] = {"": "next", "b": "back", "s": "skip"}
KEY_HELP: dict[str, dict[ProcedureAction, str]] = {
    "warm_up": {"skip": "s: go on without waiting"},
    "place": {"next": "Enter: it hangs", "back": "b: the last reading again"},
    "reading": {"skip": "s: go on without this"},
    "refused": {"next": "Enter: read again", "back": "b: change the load first"},
}


class ProcedureScreen:
    """Joins a procedure, a source and a person at a terminal.

    Parameters
    ----------
    procedure : Procedure
    source : Source
    automatic : bool
        Confirm loads without a person; a refusal then ends the procedure.
    silence_s : float or None
        End the procedure once the source has sent nothing for so long; None: wait for it.
    """

    def __init__(
        self, procedure: Procedure, source: Source, *, automatic: bool = False, silence_s: float | None = SILENCE_S
    ) -> None:
        self.procedure, self.source, self.automatic, self.silence_s = procedure, source, automatic, silence_s
        self.message = ""
        """What is wrong with the link, or with what was typed."""
        self._events: SimpleQueue[SourceEvent | None] = SimpleQueue()
        self._heard_s = 0.0
        self._printed: tuple[str, int] | None = None

    def run(self) -> None:
        """Lead through the procedure until it is finished.

        Raises
        ------
        ProcedureEnded
            The person ended it, or the source sends no more.
        TellableError
            A refusal, where nobody can answer it.
        """
        from rich.console import Console
        from rich.live import Live

        console = Console(stderr=True)
        reader = threading.Thread(target=self._read, name="procedure source", daemon=True)
        reader.start()
        self._heard_s = time.monotonic()
        try:
            with (
                Live(console=console, auto_refresh=False, transient=True)
                if console.is_terminal
                else contextlib.nullcontext()
            ) as live:
                while (state := self.procedure.state()).stage != "finished":
                    if self.automatic and state.refusal is not None:
                        raise state.refusal
                    self._show(state, live)
                    self.answer(state)
                    self._feed()
        finally:
            self.source.close()
            reader.join()

    def _read(self) -> None:
        for event in self.source.events():
            self._events.put(event)
        self._events.put(None)

    def _feed(self) -> None:
        """Feed what has arrived to the procedure; wait a moment where nothing has."""
        try:
            event = self._events.get(timeout=POLL_S)
        except Empty:
            if self.silence_s is not None and time.monotonic() - self._heard_s > self.silence_s:
                self._end("The board has sent nothing for ten seconds.", "Check its cable and its lamp.")
            return
        self._heard_s = time.monotonic()
        while True:
            if event is None:
                self._end("The board ended.", "Check the cable, then begin again.")
                return
            self._take(event)
            if self.procedure.state().stage in ("finished", "refused"):
                return
            try:
                event = self._events.get_nowait()
            except Empty:
                return

    def _end(self, what: str, do: str) -> None:
        self.procedure.end(what, do)
        refusal = self.procedure.state().refusal
        if refusal is not None:
            raise refusal

    def _take(self, event: SourceEvent) -> None:
        if isinstance(event, LinkState):
            self.message = "" if event.condition == "connected" else f"{event.condition}: {event.reason} {event.do}"
        self.procedure.take(event)

    def answer(self, state: ProcedureState) -> None:
        """Answer the running step: by itself, or with the line that the person has typed, if any.

        Raises
        ------
        ProcedureEnded
            The person ended it.
        """
        if self.automatic:
            if state.stage == "place":
                self._act("next", state)
            return
        ready, _, _ = select.select([sys.stdin], [], [], 0)
        if not ready:
            return
        line = sys.stdin.readline()
        word = line.strip().lower()
        if word == "q" or not line:
            raise ended("The procedure was ended by hand.", "Start it again when the rig is free.")
        if word.startswith("m") and isinstance(self.procedure, CalibrationProcedure):
            self._correct(self.procedure, word.split()[1:])
            return
        action = KEYS.get(word)
        if action is not None and action in state.answers:
            self._act(action, state)

    def _act(self, action: ProcedureAction, state: ProcedureState) -> None:
        self.procedure.act(action, state.step)
        # Readings from before the answer: where this program lags, they would pass for the new load's.
        for _ in range(self._events.qsize()):
            event = self._events.get()
            if event is None:
                self._events.put(None)
                return
            if not isinstance(event, CountBlock):
                self._take(event)

    def _correct(self, procedure: CalibrationProcedure, words: list[str]) -> None:
        """Correct a mass, given as its number in the plan and its kilograms."""
        names = list(procedure.guide.plan.masses)
        try:
            number, kg = (float(word.replace(",", ".")) for word in words)
            procedure.correct({dict(enumerate(names, start=1))[int(number)]: kg})
        except (ValueError, KeyError):
            self.message = f"Type for example m {len(names)} 20.5: mass {len(names)} weighs 20.5 kg."
        except TellableError as refusal:
            self.message = f"{refusal.what} {refusal.means} {refusal.do}"
        else:
            self.message = ""

    def _show(self, state: ProcedureState, live: Live | None) -> None:
        if live is not None:
            live.update(picture(state, self.message), refresh=True)
        elif self._printed != (state.stage, state.step):
            self._printed = (state.stage, state.step)
            sys.stderr.write(f"{state.step} of {state.steps}: {state.do}\n")


def stillness_words(state: ProcedureState) -> str:
    """Return in words whether the load is at rest."""
    if state.remark:
        return state.remark
    if state.still is None and state.unrest is None:
        return "waiting for readings" if state.stage == "reading" and state.seconds == 0 else ""
    if state.still:
        return "still"
    unrest = state.unrest or 0.0
    return f"moving, {min(unrest, 99):.0f} times too much" if unrest >= 1.5 else "nearly still"


def picture(state: ProcedureState, message: str = "") -> RenderableType:
    """Return a procedure's state as text for a terminal."""
    from rich.console import Group
    from rich.text import Text

    lines = [Text(f"Step {state.step} of {state.steps}", style="dim"), Text(state.do, style="bold")]
    if state.refusal is not None:
        refusal = state.refusal
        lines += [Text(refusal.what), Text(refusal.means), Text(f"What to do: {refusal.do}", style="bold")]
    if state.stage == "reading":
        more = f", about {state.needed_s:.0f} s more" if state.needed_s is not None else ""
        error = f"   standard error {state.u_counts:.1f} counts" if state.u_counts is not None else ""
        lines.append(Text(f"{stillness_words(state)}   {state.seconds:.0f} s{more}{error}".strip()))
        if state.unrest is not None:
            filled = min(UNREST_BAR, round(UNREST_BAR * min(state.unrest, 4.0) / 4.0))
            bar = "=" * filled + " " * (UNREST_BAR - filled)
            lines.append(Text(f"unrest |{bar}|  still below the mark at a quarter"))
    correctable = state.masses is not None and state.stage in ("place", "refused")
    if correctable:
        masses = "   ".join(f"{n}: {name}, {kg:g} kg" for n, (name, kg) in enumerate(state.masses or [], 1))
        lines.append(Text(f"masses   {masses}", style="dim"))
    if message:
        lines.append(Text(message, style="italic"))
    help_texts = KEY_HELP.get(state.stage, {})
    keys = [help_texts[action] for action in state.answers if action in help_texts]
    keys += ["m 1 20.5: mass 1 weighs 20.5 kg"] if correctable else []
    lines.append(Text("   ".join([*keys, "q: end"]), style="dim"))
    return Group(*lines)
