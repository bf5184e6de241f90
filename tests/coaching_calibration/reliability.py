"""Figures of a forecast's worth: reliability in fifths, Brier score, coverage of intervals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.coaching_calibration.people import Outcome

FIFTHS = 5
LEAST_CASES = 50


@dataclass(frozen=True)
class Fifth:
    """Cases whose told probability lies in one fifth of 0 to 1; ``held`` is the share that would hold."""

    low: float
    cases: int
    stated: float
    held: float

    @property
    def off(self) -> float:
        """How far the share that held lies from what was told."""
        return abs(self.held - self.stated)


def reliability(outcomes: list[Outcome]) -> list[Fifth]:
    """Return the fifths that hold cases, lowest first."""
    stated = np.array([o.stated for o in outcomes])
    held = np.array([o.true for o in outcomes])
    place = np.minimum((stated * FIFTHS).astype(int), FIFTHS - 1)
    return [
        Fifth(k / FIFTHS, int((place == k).sum()), float(stated[place == k].mean()), float(held[place == k].mean()))
        for k in range(FIFTHS)
        if (place == k).any()
    ]


def brier(outcomes: list[Outcome]) -> float:
    """Return the expected squared difference of told probability and outcome (G. W. Brier 1950, from memory)."""
    return _expected([o.true for o in outcomes], [o.stated for o in outcomes])


def brier_limits(outcomes: list[Outcome]) -> tuple[float, float]:
    """Return the scores of somebody who knows every person, and of the best forecast that the same holds allow."""
    true = [o.true for o in outcomes]
    return _expected(true, true), _expected(true, [o.best for o in outcomes])


def _expected(true: list[float], stated: list[float]) -> float:
    return float(np.mean([t * (1 - p) ** 2 + (1 - t) * p**2 for t, p in zip(true, stated, strict=True)]))


def coverage(outcomes: list[Outcome]) -> float:
    """Return the share of unassisted times that fell into the told four-fifths interval."""
    return float(np.mean([o.interval_covers for o in outcomes]))


def assisted(outcomes: list[Outcome]) -> tuple[float, float]:
    """Return the mean told probability with the least assistance, and the share that held."""
    return float(np.mean([o.assisted_stated for o in outcomes])), float(np.mean([o.assisted_true for o in outcomes]))
