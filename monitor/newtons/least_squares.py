"""Least squares with everything that a calibration must state: covariance, residuals, degrees of freedom."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.errors import MonitorError

Array = NDArray[np.float64]

SIGNIFICANCE = 0.01
"""A term is kept only where chance alone would show one as large in fewer than one of a hundred calibrations
(common practice, no source)."""


class FitNotPossible(MonitorError):
    """Too few points, numbers that are none, or points that do not tell the unknowns apart."""

    code = "fit-not-possible"


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """A linear least-squares solution.

    Attributes
    ----------
    coefficients : (p,) float
    covariance : (p, p) float
    residuals : (n,) float
        Observed minus fitted.
    chi2 : float
        Sum of squares of the whitened residuals (of the plain residuals where no uncertainty was given).
    dof : int
        n - p.
    estimator : (p, n) float
        ``coefficients = estimator @ y``: how any error of the observations reaches the coefficients.
    """

    coefficients: Array
    covariance: Array
    residuals: Array
    chi2: float
    dof: int
    estimator: Array

    @property
    def u(self) -> Array:
        """Return the coefficients' standard uncertainties."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def _impossible(what: str, do: str) -> FitNotPossible:
    return FitNotPossible(what=what, means="No calibration can be computed from these points.", do=do)


def least_squares(design: Array, y: Array, covariance: Array | None = None) -> LeastSquares:
    """Return the (generalised) least-squares solution of ``design @ coefficients = y``.

    The observations are whitened by the Cholesky factor of their covariance, the columns are scaled to one length, and
    a QR decomposition solves the rest, so that badly scaled units cost no digits. Without a covariance all points
    weigh alike and the coefficients' covariance comes from the scatter of the residuals (JCGM 100, H.3).

    Parameters
    ----------
    design : (n, p) float
    y : (n,) float
    covariance : (n, n) float, optional
        Of the observations.

    Raises
    ------
    FitNotPossible
    """
    n, p = design.shape
    if n < p or (covariance is None and n == p):
        raise _impossible(f"{n} points cannot fix {p} unknowns.", "Measure more loads.")
    if not (np.isfinite(design).all() and np.isfinite(y).all()):
        raise _impossible("A point is not a number.", "Measure it again, or leave it out.")
    whitened, target = design, y
    factor = None
    if covariance is not None:
        try:
            factor = np.linalg.cholesky(covariance)
        except np.linalg.LinAlgError as error:
            raise _impossible(
                "The uncertainties of the points contradict each other, or one is zero.",
                "Give every mass and every reading an uncertainty above 0.",
            ) from error
        whitened, target = np.linalg.solve(factor, design), np.linalg.solve(factor, y)
    scale = np.linalg.norm(whitened, axis=0)
    if not (scale > 0).all():
        raise _impossible("One unknown moves no point at all.", "Load every cell at least once.")
    q, r = np.linalg.qr(whitened / scale)
    if np.linalg.cond(r) > 1e9:
        raise _impossible(
            "The points do not tell the unknowns apart.",
            "Measure different loads, and in an assembly load different places.",
        )
    inverse = np.linalg.inv(r) / scale[:, None]
    coefficients = inverse @ (q.T @ target)
    residuals = y - design @ coefficients
    estimator = inverse @ q.T
    if factor is not None:
        white = np.linalg.solve(factor, residuals)
        estimator = np.linalg.solve(factor.T, estimator.T).T
        chi2, unit = float(white @ white), 1.0
    else:
        chi2 = float(residuals @ residuals)
        unit = chi2 / (n - p)
    return LeastSquares(coefficients, unit * inverse @ inverse.T, residuals, chi2, n - p, estimator)


@dataclass(frozen=True, slots=True)
class PolynomialFit:
    """``y = c0 + c1 (x - origin) + ...`` with the full covariance of its coefficients."""

    origin: float
    solution: LeastSquares

    @property
    def coefficients(self) -> Array:
        """Return c0, c1, ..."""
        return self.solution.coefficients

    @property
    def covariance(self) -> Array:
        """Return the coefficients' covariance."""
        return self.solution.covariance

    @property
    def residual_sd(self) -> float:
        """Return the residuals' standard deviation, with n - p degrees of freedom; NaN without any."""
        sum_of_squares = float(self.solution.residuals @ self.solution.residuals)
        return math.sqrt(sum_of_squares / self.solution.dof) if self.solution.dof else math.nan

    def at(self, x: float) -> tuple[float, float]:
        """Return the curve's value and its standard uncertainty at x, within the points or beyond (JCGM 100, H.3)."""
        powers = (x - self.origin) ** np.arange(len(self.coefficients))
        return float(powers @ self.coefficients), math.sqrt(float(powers @ self.covariance @ powers))


def polynomial_fit(
    x: ArrayLike, y: ArrayLike, degree: int = 1, *, u_y: ArrayLike | None = None, origin: float = 0.0
) -> PolynomialFit:
    """Fit a polynomial through points.

    Parameters
    ----------
    x, y : (n,) float
    degree : int
    u_y : (n,) float, optional
        Standard uncertainties of y: the points are weighted with 1 / u_y^2 and the covariance is what these
        uncertainties give. Left out: all weigh alike and the residuals' scatter gives the covariance.
    origin : float
        Where x counts from; the covariance of a line is smallest near the points' middle.

    Raises
    ------
    FitNotPossible
    """
    x_from = np.asarray(x, dtype=np.float64) - origin
    weights = None if u_y is None else np.diag(np.asarray(u_y, dtype=np.float64) ** 2)
    design = x_from[:, None] ** np.arange(degree + 1)
    return PolynomialFit(origin, least_squares(design, np.asarray(y, dtype=np.float64), weights))


def chance_of(smaller: LeastSquares, larger: LeastSquares) -> float:
    """Return the probability that chance alone improves a fit as much as the added terms did (F test).

    ((chi2_0 - chi2_1) / (dof_0 - dof_1)) / (chi2_1 / dof_1) follows F(dof_0 - dof_1, dof_1) where the added terms are
    truly zero (any text on regression; the general linear test).
    """
    from scipy.special import fdtrc

    added = smaller.dof - larger.dof
    if added < 1 or larger.dof < 1:
        return 1.0
    if larger.chi2 <= 0:
        return 0.0 if smaller.chi2 > 0 else 1.0
    ratio = (smaller.chi2 - larger.chi2) / added / (larger.chi2 / larger.dof)
    return float(fdtrc(added, larger.dof, max(0.0, ratio)))


def justified_fit(
    x: ArrayLike, y: ArrayLike, *, u_y: ArrayLike | None = None, origin: float = 0.0
) -> tuple[PolynomialFit, float]:
    """Return the straight line, or the quadratic where an F test justifies it, and that test's probability.

    The quadratic is taken below ``SIGNIFICANCE`` and only with at least four different x and two degrees of freedom
    left.

    Raises
    ------
    FitNotPossible
    """
    line = polynomial_fit(x, y, 1, u_y=u_y, origin=origin)
    if len(np.unique(np.asarray(x))) < 4 or line.solution.dof < 3:
        return line, 1.0
    curve = polynomial_fit(x, y, 2, u_y=u_y, origin=origin)
    chance = chance_of(line.solution, curve.solution)
    return (curve if chance < SIGNIFICANCE else line), chance
