"""Invented people for the calibration: drawn otherwise than the model believes, and simulated second by second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from monitor.coaching.endurance.curve import Posterior, fit_endurance
from monitor.coaching.endurance.effort import Effort, effort_from_course
from monitor.coaching.endurance.forecast import chance_of_holding, least_assistance, time_at
from tests.coaching_calibration.best import EXPONENTS, SPREAD_OF_MIDDLES, SPREADS, best_chance

WIDE_s, NARROW_s = (8.0, 28.0, 80.0), (17.0, 41.0)
HOLDS, DAYS = 6, 3
LEAST_HELP = 0.1
TARGET_s = 30.0
LONGEST_s = 600
STEP_s = 0.25


@dataclass(frozen=True)
class Outcome:
    """What was told before a hold, and the truth of it: the person's own probabilities, known because invented."""

    stated: float
    true: float
    interval_covers: float
    assisted_stated: float
    assisted_true: float
    flag: str
    best: float


def invented_person(rng: np.random.Generator, middles_s: Sequence[float] = WIDE_s) -> tuple[float, float, float]:
    """Return (a, b, sigma) of a beginner, an intermediate or an advanced person; none drawn from the model's prior.

    Middles of 8, 28 and 80 s: from those who can hardly hang to those whose goal is 120 s; ``NARROW_s``: people who are
    all near 30 s. Exponents and spreads are even over a range. All of it is common practice, no source.
    """
    a = float(np.log(rng.choice(list(middles_s)))) + SPREAD_OF_MIDDLES * rng.standard_normal()
    return a, float(rng.uniform(*EXPONENTS)), float(rng.uniform(*SPREADS))


def hold(
    rng: np.random.Generator, person: tuple[float, float, float], beta: float, target_s: float, age_days: float
) -> Effort:
    """Return one hold, in steps: the load sinks as the feet take more, and the person lets go at their damage."""
    a, b, sigma = person
    capacity = np.exp(a + sigma * rng.standard_normal())
    drift = rng.uniform(0.0, 0.08)
    t_s = np.arange(STEP_s, LONGEST_s + STEP_s, STEP_s)
    load = np.clip(beta - drift * t_s / target_s + 0.01 * rng.standard_normal(len(t_s)), 0.1, 1.05)
    damage = np.cumsum(load**-b) * STEP_s
    able_s = t_s[np.searchsorted(damage, capacity)] if damage[-1] > capacity else LONGEST_s
    seconds = min(able_s, target_s)
    course = load[t_s <= seconds]
    return effort_from_course(float(seconds), course, "target" if able_s > target_s else "exhausted", age_days)


def one_person(
    seed: int, *, prescribed: bool = False, middles_s: Sequence[float] = WIDE_s, with_best: bool = False
) -> Outcome:
    """Return what the model told of a person after six assisted holds, and the truth.

    Two holds a day: with a coach's guesses of help and target, or, ``prescribed``, from the second day on with the
    help that the model itself asks for. The latter tells less: most holds then end at their target.
    """
    rng = np.random.default_rng([20, seed])
    person = invented_person(rng, middles_s)
    efforts: list[Effort] = []
    known: Posterior | None = None
    for _ in range(DAYS):
        for _ in range(HOLDS // DAYS):
            alpha, target_s = rng.uniform(0.1, 0.5), float(rng.choice([30.0, 45.0, 60.0]))
            if known is not None:
                alpha, target_s = max(least_assistance(known, TARGET_s).alpha, LEAST_HELP), TARGET_s
            efforts.append(hold(rng, person, 1 - alpha, target_s, 0.0))
        if prescribed:
            known = fit_endurance(efforts)
    posterior = known or fit_endurance(efforts)
    a, b, sigma = person
    interval = time_at(posterior, 1.0)
    least = least_assistance(posterior, TARGET_s)
    return Outcome(
        stated=chance_of_holding(posterior, TARGET_s).value,
        true=float(ndtr((a - np.log(TARGET_s)) / sigma)),
        interval_covers=float(ndtr((np.log(interval.high) - a) / sigma) - ndtr((np.log(interval.low) - a) / sigma)),
        assisted_stated=least.chance,
        assisted_true=float(ndtr((a + b * np.log(1 - least.alpha) - np.log(TARGET_s)) / sigma)),
        flag=least.flag,
        best=best_chance(efforts, TARGET_s, middles_s) if with_best else float("nan"),
    )
