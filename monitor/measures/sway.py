"""Sway of the feet's centre of pressure in an assisted hang, with the published measures of posturography.

T. E. Prieto et al., IEEE Transactions on Biomedical Engineering 43 (1996) 956-966; the ellipse is the 95 % prediction
ellipse of P. Schubert and M. Kirchner, Gait and Posture 39 (2014) 518-522 (for n points, from the population's second
moments). A confidence ellipse of the mean is another thing and is not given.
"""

from __future__ import annotations

import numpy as np

from monitor.records.hold_result import Sway
from monitor.signals.iir_filters import low_pass, zero_phase
from monitor.signals.session_loads import Array
from monitor.signals.spectrum import welch

CUTOFF_Hz = 10.0
"""Usual in posturography (T. E. Prieto et al., from memory)."""

LEAST_S = 10.0
"""A shorter record says little of frequencies above 0.15 Hz (common practice, no source)."""

LEAST_FEET_N = 20.0
"""Below this the centre of pressure is mostly noise: at 20 N a cell's 0.4 N moves it by some 5 mm."""

LOWEST_Hz, HIGHEST_Hz = 0.15, 5.0
"""The band of T. E. Prieto et al.: 0.15 to 5 Hz."""

SEGMENT_S = 10.0
"""Welch's segments: a tenth of a hertz, below the band's lower end (common practice, no source)."""


def centre_of_pressure_m(cells_N: Array, x_m: Array, y_m: Array) -> tuple[Array, Array]:
    """Return (n,) x and y of the centre of pressure of (n, cells) platform loads at the cells' places (cells,)."""
    total = cells_N.sum(axis=1)
    return np.asarray(cells_N @ x_m / total), np.asarray(cells_N @ y_m / total)


def sway_of(x_m: Array, y_m: Array, rate_Hz: float) -> Sway:
    """Return the sway measures of a centre of pressure (n,), (n,) in metres.

    ``path_m`` is the sum of the steps, ``velocity_m_s`` the path times the rate over n, ``rms_m`` the root mean square
    distance from the mean point, ``ellipse95_m2`` the area of the prediction ellipse, ``mean_frequency_Hz`` the mean
    speed over ``2 pi`` mean distances, ``median_frequency_Hz`` the frequency below which half of the power of the
    larger axis lies (Welch, 0.15 to 5 Hz).
    """
    n = len(x_m)
    x, y = x_m - x_m.mean(), y_m - y_m.mean()
    distance = np.hypot(x, y)
    path = float(np.hypot(np.diff(x), np.diff(y)).sum())
    covariance = np.cov(x, y, bias=True)
    # The 95 % quantile of F with 2 and n - 2 degrees of freedom; its tail is (1 + 2 F / (n - 2)) ** (1 - n / 2).
    quantile = 0.5 * (n - 2) * (0.05 ** (-2 / (n - 2)) - 1)
    factor = 2 * np.pi * quantile * (n + 1) * (n - 1) / (n * (n - 2))
    speed = path * rate_Hz / (n - 1)
    return Sway(
        path_m=path,
        velocity_m_s=path * rate_Hz / n,
        rms_m=float(np.sqrt(np.mean(distance**2))),
        ellipse95_m2=float(factor * np.sqrt(max(0.0, np.linalg.det(covariance)))),
        mean_frequency_Hz=float(speed / (2 * np.pi * distance.mean())),
        median_frequency_Hz=median_frequency_Hz(x if x.std() > y.std() else y, rate_Hz),
    )


def median_frequency_Hz(signal: Array, rate_Hz: float) -> float:
    """Return the first frequency (Hz) at which half of the power between 0.15 and 5 Hz is reached.

    Welch's estimate: linear detrend, Hann windows of 10 s, half overlapped, padded to the signal's length.
    """
    rows = min(len(signal), round(SEGMENT_S * rate_Hz))
    frequency, density = welch(signal, rate_Hz, rows, padded=max(rows, len(signal)), line=True)
    inside = (frequency >= LOWEST_Hz) & (frequency <= HIGHEST_Hz)
    power = np.cumsum(density[inside])
    return float(frequency[inside][np.searchsorted(power, 0.5 * power[-1])])


def feet_sway(cells_N: Array, x_m: Array, y_m: Array, rate_Hz: float) -> Sway | None:
    """Return the sway of the feet in an assisted stretch (n, cells); None when it is too short or the feet too light.

    The centre of pressure is smoothed at 10 Hz (fourth order, two passes), as is usual in posturography.
    """
    if len(cells_N) < LEAST_S * rate_Hz or float(np.median(cells_N.sum(axis=1))) < LEAST_FEET_N:
        return None
    if float(cells_N.sum(axis=1).min()) < 0.25 * LEAST_FEET_N:
        return None
    sections = low_pass(4, CUTOFF_Hz, rate_Hz)
    x, y = centre_of_pressure_m(cells_N, x_m, y_m)
    return sway_of(zero_phase(sections, x), zero_phase(sections, y), rate_Hz)
