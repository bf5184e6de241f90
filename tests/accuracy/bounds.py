"""What no estimator can beat: the smallest standard deviation that noise and calibration leave, in closed form.

White noise of known standard deviation in each reading, everything else known. Edges and levels: straight lines fitted
by least squares. Sinusoids: the Cramer-Rao bounds of D. C. Rife and R. R. Boorstyn, Single-tone parameter estimation
from discrete-time observations, IEEE Transactions on Information Theory 20 (1974) 591-598, and S. M. Kay, Fundamentals
of Statistical Signal Processing: Estimation Theory (1993), chapter 3 (both citations and formulas from memory; a test
holds the formulas against least squares on simulated noise).
"""

from __future__ import annotations

import math

from monitor.demo.electronics import Faults
from tests.physics.wiring import RATE_HZ

KGF_N = 9.80665
G_m_s2 = 9.80665


def cell_noise_N(faults: Faults | None = None) -> float:
    """Return the rms over all cells of their white noise (N), uniformly drawn as the electronics draw it."""
    low, high = (faults or Faults()).noise_kgf
    return KGF_N * math.sqrt((low * low + low * high + high * high) / 3.0)


def part_noise_N(cells: int) -> float:
    """Return the noise of a sum of cells."""
    return math.sqrt(cells) * cell_noise_N()


def crossing_s(slope_N_s: float, height_N: float, cells: int) -> float:
    """Return the bound of an instant at which a straight edge crosses a level in its middle.

    A line fitted through the ``n`` rows of the edge has the variance ``sigma^2 / n`` in its middle.
    The edge is taken as straight over half of its height.
    """
    rows = max(1.0, 0.5 * height_N / slope_N_s * RATE_HZ)
    return part_noise_N(cells) / (slope_N_s * math.sqrt(rows))


def line_slope_N_s(seconds: float, cells: int) -> float:
    """Return the bound of a line's slope over some seconds: ``sigma sqrt(12 / (n T^2))``, at least two rows."""
    rows = max(2.0, seconds * RATE_HZ)
    return part_noise_N(cells) * math.sqrt(12.0 / rows) / (rows / RATE_HZ)


def level_N(cells: int, seconds: float) -> float:
    """Return the bound of a mean over some seconds."""
    return part_noise_N(cells) / math.sqrt(max(1.0, RATE_HZ * seconds))


def bodyweight_rel(faults: Faults | None = None) -> float:
    """Return the relative bound of a bodyweight that four platform and two bar cells weigh, spans independent."""
    return (faults or Faults()).u_rel_span / math.sqrt(6.0)


def sine_amplitude(sigma: float, rows: float) -> float:
    """Return the bound of a sinusoid's amplitude in white noise: ``sigma sqrt(2 / n)``."""
    return sigma * math.sqrt(2.0 / rows)


def sine_frequency_Hz(sigma: float, amplitude: float, rows: float) -> float:
    """Return the bound of a sinusoid's frequency (Hz): ``var(omega) = 24 sigma^2 / (A^2 n (n^2 - 1))`` per row."""
    omega = math.sqrt(24.0 * sigma**2 / (amplitude**2 * rows * (rows**2 - 1.0)))
    return omega * RATE_HZ / (2 * math.pi)


def swing_deg(amplitude_deg: float, weight_N: float, kappa: float, window_s: float) -> float:
    """Return the bound of a swing's amplitude from the beat of S within a window: ``beat = kappa theta^2``."""
    beat = sine_amplitude(part_noise_N(6) / weight_N, window_s * RATE_HZ)
    return math.degrees(beat / (2 * kappa * math.radians(amplitude_deg)))


def swing_frequency_Hz(rms_deg: float, weight_N: float, kappa: float, seconds: float) -> float:
    """Return the bound of a swing's frequency: half of that of its beat."""
    beat = kappa * math.radians(rms_deg) ** 2
    return 0.5 * sine_frequency_Hz(part_noise_N(6) / weight_N, beat, seconds * RATE_HZ)


def travel_m(weight_N: float, seconds: float) -> float:
    """Return the bound of a rise that is integrated twice from the load over ``T`` with its mean taken off.

    Weights of the double integral are ``t - T/2``: ``u = sigma g / W sqrt(dt T^3 / 12)``.
    """
    return part_noise_N(6) / weight_N * G_m_s2 * math.sqrt(seconds**3 / (12.0 * RATE_HZ))


def tremor_rel(rms_N: float, seconds: float, width_Hz: float = 6.0) -> float:
    """Return the relative bound of the rms of what trembled: the noise of the band that happens to point its way."""
    noise_N = part_noise_N(6) * math.sqrt(width_Hz / (RATE_HZ / 2.0))
    return noise_N / rms_N / math.sqrt(2.0 * width_Hz * seconds)


def impulse_N_s(cells: int, seconds: float) -> float:
    """Return the bound of an integral over some seconds whose zero is known."""
    return part_noise_N(cells) * math.sqrt(seconds / RATE_HZ)
