"""The measures of one hold, each with its declaration: the result format of ``docs/measurement.md``."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, Self

from monitor.records import join_rules as join
from monitor.records import split_rules as split
from monitor.records.cells import in_one_cell, largest_second
from monitor.records.measure import measure
from monitor.records.plain_data import record_of

MEASUREMENT_VERSION = 6
"""Raised whenever a change of the code can change a number; stored with every result."""

Kind = Literal["passive", "active", "mixed"]
Support = Literal["unassisted", "assisted"]


@dataclass(frozen=True, slots=True)
class Swing:
    """Pendulum motion of the body.

    ``course`` holds rows of time (s), amplitude (degrees) and its standard uncertainty (degrees); an amplitude
    is None where it cannot be known. ``kappa`` is that of the pendulum behind the amplitudes.
    """

    max_deg: float | None = field(metadata=measure("degrees", join=join.larger))
    rms_deg: float | None = field(metadata=measure("degrees", join=join.rms_by_time))
    frequency_Hz: float | None = field(metadata=measure("Hz", join=join.first_known))
    course: list[tuple[float, float | None, float | None]] = field(
        default_factory=list,
        metadata=measure("s, degrees, degrees", exports=("json",), join=join.concatenated),
    )
    kappa: float | None = field(default=None, metadata=measure("1", u="kappa_u", exports=("json",), join=join.first))
    kappa_u: float | None = field(default=None, metadata=measure("1", exports=("json",), join=join.first))


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
class SurplusLoad:
    """A stretch in which bar and platform together carry more than bodyweight, by a fraction of it."""

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

    share: float = field(metadata=measure("1", join=join.mean_by_time))
    feet: float = field(metadata=measure("1", join=join.mean_by_time))
    load: float = field(metadata=measure("1", join=join.mean_by_time))
    swing: float = field(metadata=measure("1", join=join.mean_by_time))
    lateral: float = field(metadata=measure("1", join=join.mean_by_time))


@dataclass(frozen=True, slots=True)
class Slope:
    """Change per minute and its standard error; the unit is that of what changes."""

    per_min: float = field(metadata=measure("/min", u="u"))
    u: float = field(metadata=measure("/min", header="per_min_u"))


@dataclass(frozen=True, slots=True)
class Slopes:
    """How assistance, tremor, ripple of the load and lateral offset change through a hold."""

    assistance: Slope | None = field(metadata=measure("1"))
    tremor_N: Slope | None = field(metadata=measure("N"))
    ripple_N: Slope | None = field(metadata=measure("N"))
    lateral_m: Slope | None = field(metadata=measure("m"))


@dataclass(frozen=True, slots=True)
class Sway:
    """Sway of the feet's centre of pressure; definitions in ``monitor.measures.sway``."""

    path_m: float = field(metadata=measure("m"))
    velocity_m_s: float = field(metadata=measure("m/s"))
    rms_m: float = field(metadata=measure("m"))
    ellipse95_m2: float = field(metadata=measure("m2"))
    mean_frequency_Hz: float = field(metadata=measure("Hz"))
    median_frequency_Hz: float = field(metadata=measure("Hz"))


WEIGHT_REASONS = ("bodyweight_unknown", "too_short", "data_missing", "nobody_on_the_rig", "third_support")
SWING_REASONS = (
    "too_short_for_swing",
    "swing_needs_platform",
    "swing_only_with_free_feet",
    "swing_disturbed",
    "swing_frequency_unclear",
    "swing_below_noise",
    "swing_below_0.8_deg",
    "too_short",
)
TRAVEL_REASONS = ("travel_needs_platform", "travel_withheld_while_account_open", "kind_unknown")


@dataclass(frozen=True, slots=True)
class HoldResult:
    """One hold. Times are times of the load in seconds of the record; None says "not known, see flags".

    ``assistance_course`` holds rows of each whole second's middle (s), alpha over it and its standard uncertainty;
    alpha is None where less than half of the second was read.

    The order of the fields is the order of the columns of an export. How to add one: "To add a measure" in
    DEVELOPERS.md.
    """

    onset_s: float = field(metadata=measure("s", join=join.first, split=split.start))
    release_s: float = field(metadata=measure("s", join=join.last, split=split.end))
    duration_s: float = field(
        metadata=measure("s", u="duration_u_s", label="time", join=join.first_to_last, split=split.length)
    )
    duration_u_s: float = field(metadata=measure("s", join=join.larger, split=split.same))
    bodyweight_N: float | None = field(
        default=None, metadata=measure("N", u="bodyweight_u_N", exports=("json",), join=join.first, split=split.same)
    )
    bodyweight_u_N: float | None = field(
        default=None, metadata=measure("N", exports=("json",), join=join.first, split=split.same)
    )
    kind: Kind | None = field(default=None, metadata=measure(join=join.same_or_mixed, split=split.same_unless_mixed))
    support: Support | None = field(default=None, metadata=measure(join=join.assisted_if_either, split=split.same))
    beta_mean: float | None = field(
        default=None, metadata=measure("1", u="beta_u", label="hands", reasons=WEIGHT_REASONS, join=join.mean_by_time)
    )
    beta_u: float | None = field(default=None, metadata=measure("1", join=join.mean_by_time))
    alpha_mean: float | None = field(
        default=None, metadata=measure("1", u="alpha_u", label="feet", reasons=WEIGHT_REASONS, join=join.mean_by_time)
    )
    alpha_u: float | None = field(default=None, metadata=measure("1", join=join.mean_by_time))
    alpha_p95: float | None = field(
        default=None, metadata=measure("1", u="alpha_u", label="feetMost", reasons=WEIGHT_REASONS, join=join.larger)
    )
    alpha_direct: bool = field(default=False, metadata=measure(join=join.true_of_both, split=split.same))
    clean_s: float | None = field(
        default=None, metadata=measure("s", label="clean", reasons=WEIGHT_REASONS, join=join.sum_of_both)
    )
    misclosure: float | None = field(
        default=None,
        metadata=measure(
            "1", u="misclosure_u", label="account", reasons=WEIGHT_REASONS, join=join.mean_by_time, split=split.same
        ),
    )
    misclosure_u: float | None = field(default=None, metadata=measure("1", join=join.mean_by_time, split=split.same))
    assistance_course: list[tuple[float, float | None, float | None]] = field(
        default_factory=list,
        metadata=measure(
            "s, 1, 1",
            header="assistance_second_max_1",
            cell=largest_second,
            join=join.concatenated,
            split=split.rows_within,
        ),
    )
    peak_N: float | None = field(default=None, metadata=measure("N", u="peak_u_N", label="peak", join=join.larger))
    peak_u_N: float | None = field(default=None, metadata=measure("N", join=join.of_the_larger("peak_N")))
    dose_bw_s: float | None = field(
        default=None,
        metadata=measure("bodyweight-seconds", label="dose", reasons=WEIGHT_REASONS, join=join.sum_of_both),
    )
    lateral_m: float | None = field(
        default=None,
        metadata=measure(
            "m", u="lateral_u_m", label="lateral", reasons=("hands_not_told_apart",), join=join.mean_by_time
        ),
    )
    lateral_u_m: float | None = field(default=None, metadata=measure("m", join=join.mean_by_time))
    zero_bar_N: float | None = field(
        default=None,
        metadata=measure(
            "N", label="zeroBar", reasons=("bar_zero_not_read",), join=join.mean_by_time, split=split.same
        ),
    )
    zero_feet_N: float | None = field(
        default=None,
        metadata=measure(
            "N", label="zeroFeet", reasons=("platform_zero_not_read",), join=join.mean_by_time, split=split.same
        ),
    )
    swing: Swing | None = field(
        default=None, metadata=measure(label="swing", reasons=SWING_REASONS, join=join.each_by_its_rule)
    )
    settle_s: float | None = field(
        default=None, metadata=measure("s", label="settle", reasons=("never_settled", *SWING_REASONS), join=join.first)
    )
    tremor_N: float | None = field(
        default=None, metadata=measure("N", label="tremor", reasons=("tremor_not_measurable",), join=join.larger)
    )
    loading_N_s: float | None = field(default=None, metadata=measure("N/s", u="loading_u_N_s", join=join.first))
    loading_u_N_s: float | None = field(default=None, metadata=measure("N/s", join=join.first))
    stillness: Stillness | None = field(default=None, metadata=measure(join=join.each_by_its_rule))
    slopes: Slopes | None = field(default=None, metadata=measure(header="slope"))
    sway: Sway | None = field(default=None, metadata=measure())
    states: list[StateSpan] = field(
        default_factory=list, metadata=measure(join=join.concatenated, split=split.cut_by_time)
    )
    travel: list[Travel] = field(
        default_factory=list,
        metadata=measure(label="travel", reasons=TRAVEL_REASONS, join=join.concatenated, split=split.begun_within),
    )
    regrips: list[Regrip] = field(
        default_factory=list, metadata=measure(join=join.concatenated, split=split.begun_within)
    )
    grip_changes_s: list[float] = field(
        default_factory=list, metadata=measure("s", join=join.concatenated, split=split.instants_within)
    )
    third_support: list[ThirdSupport] = field(
        default_factory=list, metadata=measure(join=join.concatenated, split=split.cut_by_time)
    )
    surplus_load: list[SurplusLoad] = field(
        default_factory=list, metadata=measure(join=join.concatenated, split=split.cut_by_time)
    )
    touches: list[Touch] = field(
        default_factory=list, metadata=measure(join=join.concatenated, split=split.begun_within)
    )
    flags: list[str] = field(
        default_factory=list, metadata=measure(cell=in_one_cell, header="flags", join=join.union, split=split.same)
    )

    @property
    def is_of_one_body(self) -> bool:
        """Say whether only the person's own weight was on the rig: else no curve, record or prescription counts it."""
        return "surplus_load" not in self.flags

    def as_dict(self) -> dict[str, Any]:
        """Return the hold as plain JSON data."""
        return dataclasses.asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a hold from ``as_dict``; unknown keys of a newer version are ignored."""
        return record_of(cls, data)
