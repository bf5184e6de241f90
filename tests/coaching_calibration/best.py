"""The best that six holds allow: the chance told by somebody who knows exactly what the invented people are like."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import log_ndtr, ndtr

from monitor.coaching.endurance.effort import Effort, as_arrays

A_STEPS, B_STEPS, SIGMA_STEPS = 240, 23, 12
EXPONENTS, SPREADS, SPREAD_OF_MIDDLES = (-2.2, -1.1), (0.1, 0.32), 0.45


def best_chance(efforts: Sequence[Effort], seconds: float, middles_s: Sequence[float]) -> float:
    """Return the probability of holding so long at full bodyweight, by Bayes' rule under the people's own distribution.

    No forecast from the same holds has a lower expected Brier score among these people, whatever its method: the
    posterior mean is the best guess under squared loss.
    """
    data = as_arrays(efforts)
    a = np.linspace(np.log(min(middles_s)) - 2.2, np.log(max(middles_s)) + 2.2, A_STEPS)
    b, sigma = np.linspace(*EXPONENTS, B_STEPS), np.linspace(*SPREADS, SIGMA_STEPS)
    prior = sum(np.exp(-0.5 * ((a - np.log(middle)) / SPREAD_OF_MIDDLES) ** 2) for middle in middles_s)
    log_p = np.log(prior)[:, None, None] + np.zeros((A_STEPS, B_STEPS, SIGMA_STEPS))
    terms = data.load_terms(b)
    for row in range(len(data)):
        z = (data.log_T[row] - a[:, None] - terms[row])[:, :, None] / sigma
        log_p += -0.5 * z**2 - np.log(sigma) if data.exhausted[row] else log_ndtr(-z)
    p = np.exp(log_p - log_p.max())
    chance = ndtr((a - np.log(seconds))[:, None, None] / sigma)
    return float((p * chance).sum() / p.sum())
