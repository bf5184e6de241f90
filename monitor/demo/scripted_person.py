"""A scripted person who does what a check of the rig asks, on a virtual rig that may be wired wrongly."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.demo.electronics import Electronics, Faults
from monitor.demo.virtual_rig import calibrate
from monitor.rig import Rig

Array = NDArray[np.float64]

PRESS_N, PRESS_S, BEFORE_S = 120.0, 3.0, 1.0
WEIGHT_N = 680.0
_BREATH_Hz, _BREATH_N = 0.25, 0.8
_USUAL_CAPACITY_N = 2000.0
_REACH = 0.6
"""How far towards a corner, or an end of the bar, the person goes, as a share of the way."""


class ScriptedPerson:
    """Cells under somebody who does one task after the other; the same seed gives the same counts.

    Parameters
    ----------
    rig : Rig
    seed : int
    faults : Faults or None
        None: those of ordinary electronics.
    swapped : pair of str or None
        Two cells whose cables are swapped.
    inverted, loose : sequence of str
        Cells whose signal wires are swapped; cells with a loose wire, which feel nothing.
    third_support : float
        Share of the body that something else carries while it hangs.
    """

    def __init__(
        self,
        rig: Rig,
        *,
        seed: int = 1,
        faults: Faults | None = None,
        swapped: tuple[str, str] | None = None,
        inverted: Sequence[str] = (),
        loose: Sequence[str] = (),
        third_support: float = 0.0,
    ) -> None:
        self.rig = rig
        capacity = [c.rated_N or _USUAL_CAPACITY_N for c in rig.channels]
        self.electronics = Electronics(capacity, rig.nominal_rate_Hz, seed=seed, faults=faults or Faults())
        self.calibration = calibrate(self.electronics, rig, seed=seed)
        self._columns = list(range(len(rig.names)))
        if swapped is not None:
            a, b = (rig.names.index(name) for name in swapped)
            self._columns[a], self._columns[b] = b, a
        self._factor = np.array([0.0 if n in loose else (-1.0 if n in inverted else 1.0) for n in rig.names])
        self._third = third_support
        self._task = "empty"
        self._since = 0

    def begin(self, task: str) -> None:
        """Begin a task, named as ``monitor.health.tasks.Task.key``."""
        self._task, self._since = task, 0

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed. Made for ``VirtualBoard``."""
        t_s = (self._since + np.arange(n)) / self.rig.nominal_rate_Hz
        self._since += n
        load_N = self._load_N(t_s)
        return self.electronics.convert(load_N[:, self._columns] * self._factor)

    def _load_N(self, t_s: Array) -> Array:
        """Return the loads (n, channels) of the running task at seconds since its beginning."""
        kind, _, at = self._task.partition(":")
        load_N = np.zeros((len(t_s), len(self.rig.names)))
        if kind == "press":
            pressing = (t_s > BEFORE_S) & (t_s < BEFORE_S + PRESS_S)
            load_N[pressing, self.rig.names.index(at)] = PRESS_N
            return load_N
        if kind not in ("stand", "corner", "hang"):
            return load_N
        index = list(self.rig.bar_index if kind == "hang" else self.rig.platform_index)
        breath_N = _BREATH_N * np.sin(2 * math.pi * _BREATH_Hz * t_s)
        weight_N = (WEIGHT_N + breath_N) * np.clip(t_s - BEFORE_S, 0, 1)
        if kind == "hang":
            weight_N *= 1 - self._third
        load_N[:, index] = weight_N[:, None] * self._shares(index, at)
        return load_N

    def _shares(self, index: list[int], at: str) -> Array:
        """Return how cells share a load towards ``at`` (a cell, a side, or nothing for the middle): moments balance."""
        cells = [self.rig.channels[i] for i in index]
        places = np.array([[c.x_m, c.y_m] for c in cells])
        middle = places.mean(axis=0)
        goal = middle
        if at in ("left", "right"):
            end = places[np.argmin(places[:, 0]) if at == "left" else np.argmax(places[:, 0])]
            goal = middle + _REACH * (end - middle)
        elif at:
            goal = middle + _REACH * (places[[c.name for c in cells].index(at)] - middle)
        arms = np.vstack([np.ones(len(cells)), places.T])
        return np.asarray(np.linalg.pinv(arms) @ np.concatenate([[1.0], goal]))
