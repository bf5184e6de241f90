"""Where a density is greatest, and how narrow it is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP = 1e-4
LEAST_CURVATURE = 0.25
"""A direction in which the log of the density bends less, or upwards, is taken to bend so much: a width of 2."""

HALVINGS = 2.0 ** -np.arange(12)
CLOSE, MOST_TURNS = 1e-6, 50


@dataclass(frozen=True, slots=True)
class Mode:
    """The most probable point ``at`` (k,), and the matrix of negative second derivatives ``precision`` (k, k) there."""

    at: Array
    precision: Array

    @property
    def width(self) -> Array:
        """Return (k,) standard deviations of the normal density that bends alike."""
        return np.asarray(np.sqrt(np.linalg.inv(self.precision).diagonal()))


def find_mode(log_density: Callable[[Array], Array], start: Array) -> Mode:
    """Return the mode of a density near ``start`` (k,): Newton's method with derivatives by central differences.

    Parameters
    ----------
    log_density : function of points (m, k) to (m,)
        Smooth; its variables are of a size near 1. All points of a turn are asked at once.
    """
    at = np.array(start, dtype=float)
    for _ in range(MOST_TURNS):
        slope, precision = _derivatives(log_density, at)
        step = np.linalg.solve(precision, slope)
        if np.abs(step).max() < CLOSE:
            at += step
            break
        # Far from the mode a whole step may lead away from it: the best of its fractions is taken.
        tried = at + HALVINGS[:, None] * step / max(1.0, np.abs(step).max())
        at = tried[int(np.argmax(log_density(tried)))]
    return Mode(at, precision)


def _derivatives(log_density: Callable[[Array], Array], at: Array) -> tuple[Array, Array]:
    """Return (k,) the slope and (k, k) the negative second derivatives, made safely positive."""
    k = len(at)
    i, j = np.triu_indices(k, 1)
    unit = STEP * np.eye(k)
    both = unit[i] + unit[j]
    log_p = log_density(at + np.concatenate([np.zeros((1, k)), unit, -unit, both, -both]))
    middle, up, down = log_p[0], log_p[1 : k + 1], log_p[k + 1 : 2 * k + 1]
    up_both, down_both = np.split(log_p[2 * k + 1 :], 2)
    bend = np.diag(up - 2 * middle + down)
    bend[i, j] = bend[j, i] = 0.5 * (up_both + down_both - up[i] - up[j] - down[i] - down[j] + 2 * middle)
    values, vectors = np.linalg.eigh(-bend / STEP**2)
    return (up - down) / (2 * STEP), (vectors * np.maximum(values, LEAST_CURVATURE)) @ vectors.T
