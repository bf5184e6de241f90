"""The body as a compound pendulum about the bar: exact law, any amplitude, viscous damping."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monitor.rig import STANDARD_GRAVITY_m_s2

Array = NDArray[np.float64]


def vertical_over_weight(theta: Array, omega: Array, alpha: Array, distance_m: float) -> Array:
    """Return V / W, the vertical force at the pivot over the weight.

    From the vertical acceleration of the centre of mass, which is at -d cos(theta):
    V / W = 1 + d (omega^2 cos(theta) + alpha sin(theta)) / g. For free motion from rest at theta0 this is the
    pivot force F_r cos(theta) + F_t sin(theta) of the textbooks.

    Parameters
    ----------
    theta, omega, alpha : (n,) float, rad, rad/s, rad/s^2
    distance_m : float, from the pivot to the centre of mass.
    """
    return np.asarray(1.0 + distance_m * (omega**2 * np.cos(theta) + alpha * np.sin(theta)) / STANDARD_GRAVITY_m_s2)


class Pendulum:
    """State of a swing; ``advance`` gives it on a finer grid than it is integrated on.

    theta'' = -(kappa g / d) sin(theta) - 2 zeta w0 theta' + drive, integrated by the classical fourth-order rule of
    Runge and Kutta, read between the steps by cubic Hermite pieces.

    Parameters
    ----------
    kappa : float
        m d^2 / I about the pivot: 0.75 for a uniform rod, 1 for a point mass.
    distance_m : float
        d, from the pivot to the centre of mass.
    theta, omega : float
        rad and rad/s at the start.
    """

    def __init__(self, kappa: float, distance_m: float, theta: float = 0.0, omega: float = 0.0) -> None:
        self.distance_m = distance_m
        self.theta = theta
        self.omega = omega
        self._stiffness = kappa * STANDARD_GRAVITY_m_s2 / distance_m
        self._omega0 = math.sqrt(self._stiffness)

    def _bend(self, theta: float, omega: float, damping: float, drive: float) -> float:
        return -self._stiffness * math.sin(theta) - 2 * damping * self._omega0 * omega + drive

    def _step(self, h: float, damping: float, drive: float) -> None:
        th, om = self.theta, self.omega
        a1 = self._bend(th, om, damping, drive)
        o2 = om + h / 2 * a1
        a2 = self._bend(th + h / 2 * om, o2, damping, drive)
        o3 = om + h / 2 * a2
        a3 = self._bend(th + h / 2 * o2, o3, damping, drive)
        o4 = om + h * a3
        a4 = self._bend(th + h * o3, o4, damping, drive)
        self.theta = th + h / 6 * (om + 2 * o2 + 2 * o3 + o4)
        self.omega = om + h / 6 * (a1 + 2 * a2 + 2 * a3 + a4)

    def advance(
        self, steps: int, step_s: float, parts: int, damping: Array, drive: Array
    ) -> tuple[Array, Array, Array]:
        """Integrate and return the angle, its rate and its acceleration on the fine grid.

        Parameters
        ----------
        steps : int
            Integration steps.
        step_s : float
        parts : int
            Fine values a step, at its parts' middles.
        damping, drive : (steps,) float
            Damping ratio, and angular acceleration that the person adds, rad/s^2; constant within a step.

        Returns
        -------
        theta, omega, alpha : (steps x parts,) float, rad, rad/s, rad/s^2
        """
        theta, omega = np.empty(steps + 1), np.empty(steps + 1)
        theta[0], omega[0] = self.theta, self.omega
        for k in range(steps):
            self._step(step_s, float(damping[k]), float(drive[k]))
            theta[k + 1], omega[k + 1] = self.theta, self.omega
        s = ((np.arange(parts) + 0.5) / parts)[None, :]
        p0, p1 = theta[:-1, None], theta[1:, None]
        m0, m1 = omega[:-1, None] * step_s, omega[1:, None] * step_s
        fine = p0 + s * (m0 + s * (3 * (p1 - p0) - 2 * m0 - m1 + s * (2 * (p0 - p1) + m0 + m1)))
        rate = (m0 + s * (2 * (3 * (p1 - p0) - 2 * m0 - m1) + 3 * s * (2 * (p0 - p1) + m0 + m1))) / step_s
        bend = -self._stiffness * np.sin(fine) - 2 * damping[:, None] * self._omega0 * rate + drive[:, None]
        return fine.ravel(), rate.ravel(), bend.ravel()
