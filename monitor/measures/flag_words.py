"""Flags of a result in words."""

from __future__ import annotations

FLAG_WORDS: dict[str, str] = {
    "alpha_inferred": "assistance inferred from the bar alone",
    "bar_zero_not_read": "the bar was never free: its zero is the calibration's",
    "beta_inferred": "the hands' share is inferred from the feet alone",
    "bodyweight_from_the_hang": "bodyweight read from the hang, not from standing",
    "bodyweight_unknown": "bodyweight not known: neither given nor weighed",
    "cell_stuck": "a cell repeats its reading: at its limit, or its wiring is broken",
    "data_missing": "more than half a second of readings is missing",
    "hands_not_told_apart": "one bar cell: the hands cannot be told apart",
    "interrupted": "the recording was cut off",
    "joined_by_the_coach": "joined from several by the coach",
    "kind_by_the_coach": "passive or active as the coach judged it",
    "kind_unknown": "passive or active is unknown: the shoulders did not move",
    "lost_by_correction": "some numbers are not known after the split or join",
    "negative_assistance": "the feet pull at the platform, or its zero is off",
    "never_settled": "the bar was never quiet",
    "nobody_on_the_rig": "nobody was on the rig",
    "peak_not_resolved": "the load rang faster than the readings: its peak is uncertain",
    "platform_zero_not_read": "the platform was never empty: its zero is the calibration's",
    "record_begins_in_hold": "the record begins in mid-hold",
    "record_ends_in_hold": "the record ends in mid-hold",
    "several_sessions": "more than one session on the rig; bodyweight is that of the longest hang",
    "split_by_the_coach": "split by the coach",
    "stood_beside": "the stance was lighter than the hang: a foot or hand was beside the platform",
    "surplus_load": "more weight than the person's was on the rig: somebody or something else",
    "swing_below_0.8_deg": "swing under 0.8 degrees",
    "swing_below_noise": "swing too small to stand out",
    "swing_disturbed": "swing not measurable: other movements cover it",
    "swing_frequency_unclear": "no swing stands out",
    "swing_needs_platform": "swing needs the platform's cells",
    "swing_only_with_free_feet": "no swing while the feet help",
    "third_support": "something else carried weight for a while",
    "too_short": "too short to measure",
    "too_short_for_swing": "too short to measure swing",
    "touch_peak_not_resolved": "a foot struck faster than the readings: its peak is uncertain",
    "travel_needs_platform": "travel needs the platform's cells",
    "travel_not_readable": "the body or the bar moved too much: a travel may be missing or less sure",
    "travel_withheld_while_account_open": "travel withheld while weight was missing",
    "tremor_not_measurable": "tremor not measurable",
    "weight_changed": "another person than the session's, or another load on the body: weighed by itself",
    "weight_missing": "bar and platform together carried less than the person's weight",
}
"""Every flag that a result can carry; ``docs/measurement.md`` explains each."""


def in_words(flag: str) -> str:
    """Return a flag in words, itself where it has none."""
    return FLAG_WORDS.get(flag, flag)
