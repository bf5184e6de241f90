"""Ratings of cells and mount compared with the expected peak, and with what the rig has already carried."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.health.verdict import Verdict
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig

DYNAMIC_FACTOR = 2.0
"""A load applied suddenly, from rest and without a fall, pulls an elastic support with twice its weight (textbook
mechanics: the energy of the descent equals the spring's). hardware/loads.md says why it applies to each load path."""

HEAVIEST_kg = 130.0
"""The person that the example parts are chosen for (hardware/loads.md)."""


HOLDS_CONSIDERED = 2000
"""Newest holds that are looked through for the largest load; common practice, no source."""


def largest_peak_N(holds: Iterable[StoredHold]) -> float | None:
    """Return the largest load that any of these holds put on the bar, None where there is none."""
    peaks = [hold.result.peak_N for hold in holds]
    return max((peak for peak in peaks if peak is not None), default=None)


def rating_verdicts(rig: Rig, heaviest_kg: float, largest_peak_N: float | None = None) -> list[Verdict]:
    """Compare ratings with ``DYNAMIC_FACTOR`` times the heaviest person.

    Parameters
    ----------
    heaviest_kg : float
    largest_peak_N : float or None
        The largest load that a stored hold put on the bar.
    """
    weight_N = heaviest_kg * rig.gravity_m_s2
    peak_N = DYNAMIC_FACTOR * weight_N
    verdicts = [_mount(rig, heaviest_kg, peak_N, largest_peak_N)] if rig.bar_index else []
    whole = f"{DYNAMIC_FACTOR:g} times {heaviest_kg:g} kg"
    # Anybody may hang from one hanger or one ring: each cell of the bar must bear all of it.
    for part, index, needed_N, why in (
        ("bar", rig.bar_index, peak_N, f"{whole} on each cell"),
        ("platform", rig.platform_index, weight_N, f"{heaviest_kg:g} kg on one corner"),
    ):
        if index:
            verdicts.append(_cells(rig, part, index, needed_N, why))
    return verdicts


def _mount(rig: Rig, heaviest_kg: float, peak_N: float, largest_N: float | None) -> Verdict:
    key, title, rating = "mount", "The mount's working load", rig.mount_rating_N
    numbers = {"mount_rating_N": rating, "expected_peak_N": peak_N, "largest_peak_N": largest_N}
    if rating is None:
        return Verdict(
            key,
            title,
            "bad",
            f"It is not entered. Expected at most: {peak_N:.0f} N.",
            "Write mount_rating_N into rig.toml: the lowest working load in one path, anchor included "
            "(hardware/loads.md). Nobody should hang before that.",
            numbers,
        )
    allows = rating / (DYNAMIC_FACTOR * rig.gravity_m_s2)
    if largest_N is not None and largest_N > rating:
        words = f"A hold has put {largest_N:.0f} N on the bar; the mount is rated for {rating:.0f} N."
        return Verdict(key, title, "bad", words, "Have the mount looked at by a qualified person.", numbers)
    if rating < peak_N:
        words = f"{rating:.0f} N; {DYNAMIC_FACTOR:g} times {heaviest_kg:g} kg are {peak_N:.0f} N."
        return Verdict(
            key, title, "bad", words, f"Nobody above {allows:.0f} kg on this mount, or a stronger mount.", numbers
        )
    return Verdict(key, title, "good", f"{rating:.0f} N: allows a person of {allows:.0f} kg.", "", numbers)


def _cells(rig: Rig, part: str, index: tuple[int, ...], needed_N: float, why: str) -> Verdict:
    key, title = f"capacity:{part}", f"Capacity of the {part}'s cells"
    rated = {rig.channels[i].name: rig.channels[i].rated_N for i in index}
    numbers: dict[str, float | None] = {"needed_N": needed_N, **{f"{name}_N": value for name, value in rated.items()}}
    unknown = [name for name, value in rated.items() if value is None]
    weak = [name for name, value in rated.items() if value is not None and value < needed_N]
    if weak:
        words = f"{', '.join(weak)}: less than {needed_N:.0f} N ({why})."
        do = "Larger cells, or a stop that takes the rest." if part == "platform" else "Larger cells for this path."
        return Verdict(key, title, "bad" if part == "bar" else "doubtful", words, do, numbers)
    if unknown:
        words = f"Not entered for {', '.join(unknown)}; {needed_N:.0f} N are needed ({why})."
        return Verdict(key, title, "doubtful", words, "Write rated_N of every cell into rig.toml.", numbers)
    return Verdict(key, title, "good", f"All bear {needed_N:.0f} N ({why}).", "", numbers)
