"""Each cell by itself: its noise, its drift, and whether it moves when it is pressed, in the right direction."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.health.creep import shorter_words
from monitor.health.verdict import Verdict, graded
from monitor.newtons.allan_deviation import FEWEST_VALUES, AllanCurve, allan_curve, judge
from monitor.rig import Rig
from monitor.statistics import inliers

Array = NDArray[np.float64]

NOISE_COUNTS = {"HX711": (57.0, 80.0), "ADS131M08": (270.0, 1000.0)}
"""White noise of one reading in counts, at a rate (1/s), by the converter's name; it goes with the root of the rate.

HX711: 90 nV at gain 128 and 80 per second, full scale 13.2 mV at 3.3 V. ADS131M08: 0.3 uV at gain 128 and 1000 per
second, full scale 9.4 mV. Both from memory, not verified."""

NOISE_GOOD, NOISE_DOUBTFUL = 2.0, 5.0
"""Noise as a multiple of what the converter should give; 350 ohm of bridge add little (common practice, no source)."""

USUAL_NOISE_N, MOST_NOISE_N = 0.5, 1.5
"""Acceptable and largest tolerable noise of one reading where the converter is unknown (common practice, no source)."""

DRIFT_GOOD_N_per_min, DRIFT_DOUBTFUL_N_per_min = 0.2, 0.6
"""20 gf a minute is what the zeros' uncertainty allows for (docs/measurement.md); three times as much is bad (common
practice, no source)."""

LEAST_PRESS_N = 25.0
"""A smaller change is no press (common practice, no source)."""

OF_STRONGEST = 0.8
"""A cell that moves at least this share of the strongest may be the one that was pressed (common practice, no
source)."""


@dataclass(frozen=True)
class Stillness:
    """One cell while the rig is empty.

    ``noise_N`` is the white noise of one reading, ``wander_N`` the slow wandering beyond it, ``drift_N_per_min`` a
    straight line through the record, with its standard uncertainty. All None where the cell gave too few readings.
    """

    name: str
    noise_N: float | None
    noise_counts: float | None
    wander_N: float | None
    drift_N_per_min: float | None
    u_drift_N_per_min: float
    mean_N: float | None
    allan: AllanCurve | None


def stillness(name: str, load_N: Array, rate_Hz: float, N_per_count: float) -> Stillness:
    """Return what one cell's readings (n,) on the empty rig say; outliers are left out."""
    good = load_N[~np.isnan(load_N)]
    if len(good) >= FEWEST_VALUES:
        good = good[inliers(good, abs(N_per_count))]
    if len(good) < max(FEWEST_VALUES, 0.5 * len(load_N)):
        return Stillness(name, None, None, None, None, 0.0, None, None)
    curve = allan_curve(good, rate_Hz)
    stability = judge(curve)
    minutes = np.arange(len(good)) / rate_Hz / 60
    slope = float(np.polyfit(minutes - minutes.mean(), good, 1)[0])
    # Of a straight line through n readings of white noise over a time T: noise sqrt(12 / n) / T (least squares).
    u_slope = stability.white * math.sqrt(12 / len(good)) / float(minutes[-1])
    noise_counts = stability.white / abs(N_per_count)
    return Stillness(name, stability.white, noise_counts, stability.excess, slope, u_slope, float(good.mean()), curve)


def expected_counts(converter: str, rate_Hz: float) -> float | None:
    """Return the noise (counts) that a converter should give at a rate; None for one that is not known."""
    for name, (counts, at_Hz) in NOISE_COUNTS.items():
        if converter.startswith(name):
            return counts * math.sqrt(rate_Hz / at_Hz)
    return None


def noise_verdict(cell: Stillness, converter: str, rate_Hz: float) -> Verdict:
    """Compare a cell's noise with what the converter should give."""
    key, title = f"noise:{cell.name}", f"Noise of {cell.name}"
    if cell.noise_N is None or cell.noise_counts is None:
        return Verdict(
            key,
            title,
            "bad",
            "More than half of its readings are missing.",
            "Look for a loose data or clock line, or a converter without supply.",
        )
    expected = expected_counts(converter, rate_Hz)
    numbers = {"noise_N": cell.noise_N, "noise_counts": cell.noise_counts, "expected_counts": expected}
    if cell.noise_counts < 0.3:
        words = "The reading stands still to the last count: no living cell does."
        return Verdict(key, title, "bad", words, "Look for a broken signal wire, or a converter at its limit.", numbers)
    words = f"{cell.noise_N:.2g} N ({cell.noise_counts:.0f} counts) in one reading"
    if expected is None:
        outcome = graded(cell.noise_N, USUAL_NOISE_N, MOST_NOISE_N)
        words += f"; nothing is known of the converter {converter or 'of this board'}, {USUAL_NOISE_N:g} N is usual."
    else:
        outcome = graded(cell.noise_counts / expected, NOISE_GOOD, NOISE_DOUBTFUL)
        words += f"; the converter should give about {expected:.0f} counts."
    do = "" if outcome == "good" else "Check the shield, the ground and the supply; keep chargers and phones away."
    return Verdict(key, title, outcome, words, do, numbers)


def drift_verdict(cell: Stillness, seconds: float) -> Verdict:
    """Say how the cell's zero drifted while the rig was empty."""
    key, title = f"drift:{cell.name}", f"Drift of {cell.name}"
    if cell.drift_N_per_min is None:
        return Verdict(key, title, "not_told", "Its readings are missing.")
    surely = max(0.0, abs(cell.drift_N_per_min) - 2 * cell.u_drift_N_per_min)
    outcome = graded(surely, DRIFT_GOOD_N_per_min, DRIFT_DOUBTFUL_N_per_min)
    words = (
        f"{cell.drift_N_per_min:+.2f} N a minute over {seconds:.0f} s; wandering beyond noise {cell.wander_N:.2g} N."
        f"{shorter_words(seconds)}"
    )
    do = (
        "" if outcome == "good" else "Let the electronics warm up for half an hour, keep sun and draught off the cells."
    )
    numbers = {
        "drift_N_per_min": cell.drift_N_per_min,
        "u": cell.u_drift_N_per_min,
        "wander_N": cell.wander_N,
        "seconds": seconds,
    }
    return Verdict(key, title, outcome, words, do, numbers)


def press_verdicts(rig: Rig, pressed: Mapping[str, Array | None]) -> list[Verdict]:
    """Say of each cell whether it moved when it was pressed, and in the right direction.

    Parameters
    ----------
    pressed : mapping of name to (channels,) float or None
        Changes of all cells (N) while a person pressed the named one; None: nothing moved.
    """
    moved = {name: _moved(rig, change) for name, change in pressed.items()}
    return [_press_verdict(rig, name, pressed[name], moved) for name in pressed]


def _moved(rig: Rig, change_N: Array | None) -> str | None:
    """Return the cell that moved most, None where none did."""
    if change_N is None:
        return None
    sizes = np.abs(np.nan_to_num(change_N))
    return rig.names[int(np.argmax(sizes))] if float(sizes.max()) >= LEAST_PRESS_N else None


def _press_verdict(rig: Rig, name: str, change_N: Array | None, moved: Mapping[str, str | None]) -> Verdict:
    key, title = f"press:{name}", f"{name} moves when it is pressed"
    if change_N is None or moved[name] is None:
        return Verdict(
            key,
            title,
            "bad",
            "Nothing moved while it was to be pressed.",
            f"Press harder and check again; then look for a loose wire of {name}: supply (E+, E-) or signal (S+, S-).",
        )
    own = float(np.nan_to_num(change_N)[rig.names.index(name)])
    strongest = moved[name] or name
    top = float(np.nanmax(np.abs(change_N)))
    numbers = {"change_N": own, **{f"{n}_N": float(c) for n, c in zip(rig.names, np.nan_to_num(change_N), strict=True)}}
    if strongest != name and abs(own) < OF_STRONGEST * top:
        return _wrong_cell(key, title, name, strongest, own, moved, numbers)
    if own < 0:
        words = f"It moves by {own:.0f} N: upward where it was pressed downward."
        return Verdict(
            key, title, "bad", words, f"Swap the signal wires S+ and S- of {name}, or turn the cell.", numbers
        )
    return Verdict(key, title, "good", f"It moves by {own:+.0f} N, more than any other.", "", numbers)


def _wrong_cell(
    key: str,
    title: str,
    name: str,
    other: str,
    own_N: float,
    moved: Mapping[str, str | None],
    numbers: dict[str, float],
) -> Verdict:
    """Distinguish swapped cables from a dead cell and from a press at the wrong place."""
    if moved.get(other) == name:
        words = f"{other} moves instead, and {name} when {other} is pressed: the two are swapped."
        return Verdict(key, title, "bad", words, f"Swap the cables of {name} and {other}, or their names.", numbers)
    if abs(own_N) < LEAST_PRESS_N / 5:
        words = f"It stays where it is ({own_N:+.0f} N) while {other} moves."
        do = f"Look for a loose wire of {name}. If {other} was pressed by mistake, check again."
        return Verdict(key, title, "bad", words, do, numbers)
    words = f"{other} moves more ({own_N:+.0f} N here)."
    return Verdict(key, title, "doubtful", words, f"Press right at {name}, and check again.", numbers)
