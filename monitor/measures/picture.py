"""The newest picture of the rig: what a screen shows at this instant."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Scene = Literal["not_ready", "empty", "standing", "leaning", "hanging", "let_go"]
"""What is happening on the rig; ``let_go`` lasts a few seconds after a release."""

Shoulders = Literal["relaxed", "drawn"]
WeightSource = Literal["given", "standing", "hang"]


@dataclass(frozen=True, slots=True)
class HoldClock:
    """The running (or just ended) hold's clock; back-dated to the half-level crossing.

    ``ended`` is true from the release on; ``time_s`` then stands still. ``provisional`` is true until the hold is
    long enough to be sure that it is one.
    """

    onset_s: float
    time_s: float
    provisional: bool
    ended: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """One instant, smoothed as a screen needs it. None means "not known now"; times in seconds of board time.

    Loads are in newtons; ``beta``, ``alpha`` and ``misclosure`` are fractions of bodyweight; ``u_`` marks standard
    uncertainties. ``alpha_direct`` says that the feet are weighed, ``beta_inferred`` that the bar is not: then the
    hands' share is 1 - alpha. ``surplus`` is what the rig carries above bodyweight in a running hold (a coach, a second
    person), as a fraction of it; meanwhile the shares are None. ``curve_t_s`` and ``curve_N`` hold the samples since
    the picture before (grid rate of the rig, columns in the order of ``curve_names``), for the running curves.
    """

    t_s: float
    scene: Scene
    scene_since_s: float
    hold: HoldClock | None = None
    bodyweight_N: float | None = None
    bodyweight_u_N: float | None = None
    bodyweight_source: WeightSource | None = None
    bar_N: float | None = None
    feet_N: float | None = None
    beta: float | None = None
    u_beta: float | None = None
    alpha: float | None = None
    u_alpha: float | None = None
    alpha_direct: bool = False
    beta_inferred: bool = False
    misclosure: float | None = None
    misclosure_open: bool = False
    surplus: float | None = None
    lateral_m: float | None = None
    swing_deg: float | None = None
    u_swing_deg: float | None = None
    still: bool | None = None
    travel_mm: float | None = None
    shoulders: Shoulders | None = None
    shoulders_certainty: float | None = None
    rate_Hz: float | None = None
    lost: int = 0
    spikes: int = 0
    warnings: tuple[str, ...] = ()
    curve_names: tuple[str, ...] = ()
    curve_t_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    curve_N: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 0)))
