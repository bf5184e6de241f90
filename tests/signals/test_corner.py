"""The corner between readings against a Gaussian process that is written out as plain matrices."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from monitor.signals.corner import NUGGET, TAKE_UP_S, corner_of, corners_of, fine_steps

RATE_Hz, N, FINE = 80.0, 7, 16


def reference(begins: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the covariance of N readings, that of the load's steps with them, and the load's variance given them.

    The corner lies ``begins`` fine steps after the start of the first reading.
    """
    step_s, steps = 1 / (RATE_Hz * FINE), N * FINE - begins
    t_s = (np.arange(steps) + 0.5) * step_s
    a = math.sqrt(3) * np.abs(np.subtract.outer(np.append(t_s, 0.0), np.append(t_s, 0.0))) / TAKE_UP_S
    matern = (1 + a) * np.exp(-a)
    slope = matern[:-1, :-1] - np.outer(matern[:-1, -1], matern[-1, :-1])
    integrate = step_s * (np.tril(np.ones((steps, steps))) - 0.5 * np.eye(steps))
    load = integrate @ slope @ integrate.T
    average = np.zeros((N, steps))
    for step in range(steps):
        if step + begins >= 0:
            average[(step + begins) // FINE, step] = 1 / FINE
    readings = average @ load @ average.T
    readings += NUGGET * np.trace(readings) / N * np.eye(N)
    course = load @ average.T
    return readings, course, np.diag(load - course @ np.linalg.solve(readings, course.T))


def test_each_instant_has_the_distribution_of_the_plain_matrices():
    assert fine_steps(RATE_Hz) == FINE
    corners = corners_of(N, FINE, round(RATE_Hz))
    for k, begins in enumerate(range(-FINE, FINE)):
        readings, course, left = reference(begins)
        np.testing.assert_allclose(corners.inverse[k] @ readings, np.eye(N), atol=1e-6)
        assert corners.log_determinant[k] == pytest.approx(np.linalg.slogdet(readings)[1], abs=1e-6)
        np.testing.assert_allclose(corners.course[k, : len(course)], course, rtol=1e-9, atol=1e-18)
        np.testing.assert_allclose(corners.left[k, : len(left)], left, atol=1e-6 * left.max())
        # What falls into the reading before the first, as shares of that reading.
        assert corners.early[k].sum() == pytest.approx(max(0, -begins) / FINE)


def rising_N(corner_at: float) -> np.ndarray:
    """Return readings of a load that is 0 until the corner and then rises by 5 N per millisecond, rounded over 5 ms."""
    since_s = np.maximum(0.0, (np.arange(N * 10_000) + 0.5) / 10_000 - corner_at) / RATE_Hz
    load_N = 5000.0 * (since_s - TAKE_UP_S / 2 * (1 - np.exp(-2 * since_s / TAKE_UP_S)))
    return load_N.reshape(N, -1).mean(axis=1)


@pytest.mark.parametrize("corner_at", [0.1, 0.5, 0.9])
def test_each_instant_has_the_share_that_its_likelihood_gives_it(corner_at):
    """Reference: scipy's normal density at the likeliest scale, and 1 N of noise in the reading before."""
    readings_N = rising_N(corner_at)
    log_p, courses_N = [], []
    for begins in range(-FINE, FINE):
        covariance, course, _ = reference(begins)
        weights = np.linalg.solve(covariance, readings_N)
        scale = readings_N @ weights / N
        courses_N.append(course @ weights)
        before_N = courses_N[-1][: max(0, -begins)].sum() / FINE
        log_p.append(stats.multivariate_normal.logpdf(readings_N, cov=scale * covariance) + stats.norm.logpdf(before_N))
    share = np.exp(np.array(log_p) - max(log_p))
    corner = corner_of(readings_N, RATE_Hz)
    assert corner is not None
    np.testing.assert_allclose(corner.share, share / share.sum(), atol=1e-6)
    np.testing.assert_allclose(corner.begins_s, np.arange(-FINE, FINE) / FINE / RATE_Hz)
    for k, course_N in enumerate(courses_N):
        np.testing.assert_allclose(corner.course_N[k, : len(course_N)], course_N, atol=1e-3)


@pytest.mark.parametrize("corner_at", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_the_true_instant_lies_within_the_spread_of_the_shares(corner_at):
    corner = corner_of(rising_N(corner_at), RATE_Hz)
    assert corner is not None
    mean_s = corner.share @ corner.begins_s
    sd_s = math.sqrt(corner.share @ (corner.begins_s - mean_s) ** 2)
    assert sd_s < 0.5 / RATE_Hz
    assert abs(mean_s - corner_at / RATE_Hz) < 2 * sd_s


def test_too_few_readings_have_no_corner():
    assert corner_of(np.ones(N - 1), RATE_Hz) is None
