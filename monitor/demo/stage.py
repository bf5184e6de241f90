"""A virtual rig for two uses: invented people hang there, unless somebody calibrates or checks it."""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray

from monitor.demo.practice import PracticeRig
from monitor.demo.scripted_person import ScriptedPerson
from monitor.demo.virtual_rig import DemoRig
from monitor.newtons.calibrating.plan import Plan, Step


class Stage:
    """Conversions for a virtual board; whoever loads the cells, they are the same.

    Parameters
    ----------
    seed : int
    invented : DemoRig or None
        Whoever hangs there otherwise; None: the people of this seed.
    """

    def __init__(self, seed: int = 1, invented: DemoRig | None = None) -> None:
        self._seed = seed
        self._people = invented or DemoRig(seed)
        self.rig = self._people.rig
        self._lock = threading.Lock()
        self._procedure_rig: PracticeRig | ScriptedPerson | None = None

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed. Made for ``VirtualBoard``."""
        with self._lock:
            return (self._procedure_rig or self._people).conversions(n)

    def begin(self, kind: str, plan: Plan | None) -> None:
        """Take everybody off the rig; their story is paused until ``end``."""
        with self._lock:
            loaded: PracticeRig | ScriptedPerson
            loaded = (
                PracticeRig(self.rig, plan, seed=self._seed)
                if plan is not None
                else ScriptedPerson(self.rig, seed=self._seed)
            )
            # The same cells: what is measured of them must hold for the people afterwards.
            loaded.electronics = self._people.electronics
            self._procedure_rig = loaded

    def place(self, step: Step) -> None:
        """Hang the plates of a step."""
        with self._lock:
            if isinstance(self._procedure_rig, PracticeRig):
                self._procedure_rig.place(step)

    def do(self, task: str) -> None:
        """Let the scripted person do a task of the check."""
        with self._lock:
            if isinstance(self._procedure_rig, ScriptedPerson):
                self._procedure_rig.begin(task)

    def end(self) -> None:
        """Let the people come again."""
        with self._lock:
            self._procedure_rig = None
