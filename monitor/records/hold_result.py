"""What an analysis says: the result format of ``docs/measurement.md`` as frozen values."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any, Literal

MEASUREMENT_VERSION = 5
"""Raised whenever a change of the code can change a number; stored with every result."""

Kind = Literal["passive", "active", "mixed"]
Support = Literal["unassisted", "assisted"]


@dataclass(frozen=True, slots=True)
class Swing:
    """Pendulum motion of the body: amplitude in degrees, frequency in hertz.

    ``course`` holds rows of time (s), amplitude (degrees) and its standard uncertainty (degrees); an amplitude
    is None where it cannot be known. ``kappa`` is that of the pendulum that they were reckoned with, ``kappa_u`` its
    standard uncertainty.
    """

    max_deg: float | None
    rms_deg: float | None
    frequency_Hz: float | None
    course: list[tuple[float, float | None, float | None]] = field(default_factory=list)
    kappa: float | None = None
    kappa_u: float | None = None


@dataclass(frozen=True, slots=True)
class StateSpan:
    """A stretch of a hold with the shoulders ``passive`` (relaxed) or ``active`` (drawn down)."""

    start_s: float
    end_s: float
    state: str
    certainty: float


@dataclass(frozen=True, slots=True)
class Travel:
    """A rise (positive) or sinking of the centre of mass between two quiet ends."""

    start_s: float
    end_s: float
    travel_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class Regrip:
    """A gap shorter than 1.0 s in which the bar was let go and taken again."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ThirdSupport:
    """A stretch in which bar and platform together miss a fraction of bodyweight."""

    start_s: float
    end_s: float
    fraction: float


@dataclass(frozen=True, slots=True)
class Touch:
    """A short contact of a foot during an otherwise unassisted hold."""

    start_s: float
    end_s: float
    alpha_peak: float
    impulse_N_s: float | None = None


@dataclass(frozen=True, slots=True)
class Stillness:
    """Shares of a hold, adding up to one: still, and unstill by its largest cause."""

    share: float
    feet: float
    load: float
    swing: float
    lateral: float


@dataclass(frozen=True, slots=True)
class Slope:
    """Change per minute and its standard error."""

    per_min: float
    u: float


@dataclass(frozen=True, slots=True)
class Slopes:
    """How assistance, tremor, ripple of the load and lateral offset change through a hold."""

    assistance: Slope | None
    tremor_N: Slope | None
    ripple_N: Slope | None
    lateral_m: Slope | None


@dataclass(frozen=True, slots=True)
class Sway:
    """Sway of the feet's centre of pressure; definitions in ``monitor.measures.sway``."""

    path_m: float
    velocity_m_s: float
    rms_m: float
    ellipse95_m2: float
    mean_frequency_Hz: float
    median_frequency_Hz: float


@dataclass(frozen=True, slots=True)
class HoldResult:
    """One session on the bar. Times are times of the load in seconds of the record; None says "not known, see flags".

    ``assistance_course`` holds rows of each whole second's middle (s), alpha over it and its standard uncertainty;
    alpha is None where less than half of the second was read.
    """

    onset_s: float
    release_s: float
    duration_s: float
    duration_u_s: float
    kind: Kind | None = None
    support: Support | None = None
    beta_mean: float | None = None
    beta_u: float | None = None
    alpha_mean: float | None = None
    alpha_u: float | None = None
    alpha_p95: float | None = None
    alpha_direct: bool = False
    assistance_course: list[tuple[float, float | None, float | None]] = field(default_factory=list)
    clean_s: float | None = None
    misclosure: float | None = None
    misclosure_u: float | None = None
    peak_N: float | None = None
    peak_u_N: float | None = None
    dose_bw_s: float | None = None
    lateral_m: float | None = None
    lateral_u_m: float | None = None
    zero_bar_N: float | None = None
    zero_feet_N: float | None = None
    swing: Swing | None = None
    settle_s: float | None = None
    states: list[StateSpan] = field(default_factory=list)
    travel: list[Travel] = field(default_factory=list)
    regrips: list[Regrip] = field(default_factory=list)
    grip_changes_s: list[float] = field(default_factory=list)
    third_support: list[ThirdSupport] = field(default_factory=list)
    tremor_N: float | None = None
    loading_N_s: float | None = None
    loading_u_N_s: float | None = None
    stillness: Stillness | None = None
    slopes: Slopes | None = None
    sway: Sway | None = None
    touches: list[Touch] = field(default_factory=list)
    flags: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """Return the hold as plain JSON data."""
        return dataclasses.asdict(self)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> HoldResult:
        """Rebuild a hold from ``as_dict``; unknown keys of a newer version are ignored."""
        kept = {k: v for k, v in data.items() if k in cls.__dataclass_fields__}
        if kept.get("swing"):
            swing = dict(kept["swing"])
            swing["course"] = [tuple(row) for row in swing.get("course", [])]
            kept["swing"] = Swing(**swing)
        kept["assistance_course"] = [tuple(row) for row in kept.get("assistance_course", [])]
        if kept.get("slopes"):
            kept["slopes"] = Slopes(**{k: v and Slope(**v) for k, v in kept["slopes"].items()})
        for name, one in (("stillness", Stillness), ("sway", Sway)):
            if kept.get(name):
                kept[name] = one(**kept[name])
        for name, part in _PARTS.items():
            kept[name] = [part(**p) for p in kept.get(name, [])]
        return cls(**kept)


_PARTS: dict[str, Any] = {
    "states": StateSpan,
    "travel": Travel,
    "regrips": Regrip,
    "third_support": ThirdSupport,
    "touches": Touch,
}
