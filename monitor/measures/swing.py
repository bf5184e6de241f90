"""Swing: amplitude and frequency of the body as a pendulum, from the second harmonic of what bar and feet carry.

For a compound pendulum of small amplitude ``V / W = 1 - kappa theta0**2 cos(2 w t)`` with ``kappa = m d**2 / I_pivot``
(expansion of the pivot force of a rod, docs/measurement.md): the sum of the cells beats at twice the swing's frequency.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signals.stay import Array

KAPPA = 0.86
"""m d^2 / I_pivot of a hanging body. Segment tables give 0.82 to 0.84 (reference/hanging_body_pendulum.json); compliant
shoulders raise it by a few per cent."""

U_KAPPA_REL = 0.03
BAND_Hz = (0.6, 1.6)
WINDOW_S = 8.0
STEP_S = 0.5
LEAST_DEG = 0.8
"""A swing below this is drowned in breathing and tremor: it is reported as absent, not as a number."""

FREQUENCY_STEP_Hz = 0.004
HARMONICS_OF_DRIFT = 3
LEAST_SNR = 1.2
"""A beat must stand out of its own uncertainty by this much to be given as an amplitude."""


@dataclass(frozen=True, slots=True)
class SwingCourse:
    """Swing through a hold: rows of time (s), amplitude (degrees), its standard uncertainty; pendulum frequency.

    ``drowned`` says that in some window there was a beat too small to stand out of its uncertainty.
    """

    t_s: Array
    amplitude_deg: Array
    u_deg: Array
    drowned: bool
    frequency_Hz: float | None
    u_frequency_Hz: float | None


def amplitude_from_beat(beat: float, kappa: float = KAPPA) -> float:
    """Return the swing's amplitude (rad) whose second harmonic of V / W has the amplitude ``beat``.

    Small-angle law ``beat = kappa theta0**2``; at 20 degrees it reads 2.5 % off the exact law.
    """
    return float(np.sqrt(max(0.0, beat) / kappa))


def swing_course(
    t_s: Array,
    sum_N: Array,
    bodyweight_N: float,
    rate_Hz: float,
    disturbed: NDArray[np.bool_],
    breaks_s: Sequence[float] = (),
) -> SwingCourse | None:
    """Return the swing's course in an unassisted stretch of a hold; None when the stretch is shorter than a window.

    Parameters
    ----------
    t_s, sum_N : (n,) float
        Time and S of the stretch.
    disturbed : (n,) bool
        Rows in which something else moves the body (a pull, a touch, a regrip).
    breaks_s : sequence of float
        Instants at which the level of S changes for good (edges of a third support): no window may span one.
    """
    rows = round(WINDOW_S * rate_Hz)
    if len(t_s) < rows:
        return None
    beat = sum_N / bodyweight_N - 1.0
    frequency = _beat_frequency(t_s, beat, disturbed, rate_Hz)
    if frequency is None:
        return None
    beat_Hz, u_beat_Hz, strong = frequency
    step = max(1, round(STEP_S * rate_Hz))
    starts = np.arange(0, len(t_s) - rows + 1, step)
    times, amplitude, u = [], [], []
    drowned = False
    for start in starts.tolist():
        part = slice(start, start + rows)
        times.append(float(t_s[part].mean()))
        broken = any(t_s[part][0] < b < t_s[part][-1] for b in breaks_s)
        fit = None if broken else _fit(t_s[part], beat[part], ~disturbed[part], beat_Hz)
        if fit is None:
            amplitude.append(np.nan)
            u.append(np.nan)
            continue
        size, u_size = fit
        if size < LEAST_SNR * u_size:
            drowned = True
            amplitude.append(np.nan)
            u.append(np.nan)
            continue
        theta = np.degrees(amplitude_from_beat(size))
        # theta goes with the root of the beat: u(theta) = theta u(beat) / (2 beat), and kappa's share beside it.
        u_theta = np.degrees(np.hypot(u_size / (2 * KAPPA * max(np.radians(theta), 1e-3)), 0.0))
        amplitude.append(float(theta))
        u.append(float(np.hypot(u_theta, 0.5 * U_KAPPA_REL * theta)))
    pendulum = (beat_Hz / 2, u_beat_Hz / 2) if strong else (None, None)
    return SwingCourse(np.array(times), np.array(amplitude), np.array(u), drowned, *pendulum)


def _design(t: Array, beat_Hz: float) -> Array:
    """Return the columns of the fit: the beat's sine and cosine and a slow drift of the level."""
    middle = t.mean()
    x = (t - middle) / max(1e-9, t[-1] - middle)
    phase = 2 * np.pi * beat_Hz * (t - middle)
    drift = [x**k for k in range(HARMONICS_OF_DRIFT + 1)]
    return np.column_stack([np.cos(phase), np.sin(phase), x * np.cos(phase), x * np.sin(phase), *drift])


def _fit(t: Array, beat: Array, use: NDArray[np.bool_], beat_Hz: float) -> tuple[float, float] | None:
    """Return the beat's amplitude in the middle of a window and its standard uncertainty."""
    if use.sum() < 0.5 * len(t):
        return None
    design = _design(t, beat_Hz)[use]
    solution, *_ = np.linalg.lstsq(design, beat[use], rcond=None)
    rest = beat[use] - design @ solution
    # Rows are not independent: breathing and tremor are coloured. A quarter of them is counted.
    variance = float(rest @ rest) / max(1, len(rest) - design.shape[1]) * 4
    size = float(np.hypot(solution[0], solution[1]))
    return size, float(np.sqrt(2 * variance / use.sum()))


def _beat_frequency(
    t_s: Array, beat: Array, disturbed: NDArray[np.bool_], rate_Hz: float
) -> tuple[float, float, bool] | None:
    """Return the beat's frequency, its standard uncertainty (Hz), and whether the beat stands out from the rest."""
    from scipy.signal import butter, sosfiltfilt

    if (~disturbed).sum() < WINDOW_S * rate_Hz / 2:
        return None
    sos = butter(2, BAND_Hz, "bandpass", fs=rate_Hz, output="sos")
    narrow = np.where(disturbed, 0.0, sosfiltfilt(sos, np.where(disturbed, 0.0, beat)))
    size = 1 << int(np.ceil(np.log2(max(len(narrow), rate_Hz / FREQUENCY_STEP_Hz))))
    trial = np.fft.rfftfreq(size, 1.0 / rate_Hz)
    within = (trial > BAND_Hz[0] + 0.1) & (trial < BAND_Hz[1] - 0.2)
    trial, power = trial[within], np.abs(np.fft.rfft(narrow, size))[within]
    best = int(np.argmax(power))
    strong = bool(power[best] > 4.0 * np.median(power))
    first_Hz = float(trial[best])
    slope = _phase_slope(t_s, narrow, first_Hz, rate_Hz)
    if slope is None:
        return first_Hz, FREQUENCY_STEP_Hz, strong
    correction, u = slope
    if abs(correction) > 0.1:
        return first_Hz, FREQUENCY_STEP_Hz, strong
    return first_Hz + correction, u, strong


def _phase_slope(t_s: Array, narrow: Array, beat_Hz: float, rate_Hz: float) -> tuple[float, float] | None:
    """Return how far the beat's frequency lies from ``beat_Hz``, by the slope of its demodulated phase."""
    rows = round(rate_Hz * 4.0 / beat_Hz)
    pieces = len(t_s) // rows
    if pieces < 3:
        return None
    phasor = (
        (narrow * np.exp(-2j * np.pi * beat_Hz * (t_s - t_s[0])))[: pieces * rows].reshape(pieces, rows).mean(axis=1)
    )
    middle = t_s[: pieces * rows].reshape(pieces, rows).mean(axis=1)
    weight = np.abs(phasor) ** 2
    keep = weight > 0.02 * weight.max()
    if keep.sum() < 3:
        return None
    phase, x, w = np.unwrap(np.angle(phasor[keep])), middle[keep], weight[keep]
    x = x - (w @ x) / w.sum()
    slope = float((w * x) @ phase / ((w * x) @ x))
    rest = phase - (w @ phase) / w.sum() - slope * x
    u = float(np.sqrt((w @ rest**2) / w.sum() / ((w / w.sum()) @ x**2) / max(1, keep.sum() - 2)))
    return slope / (2 * np.pi), u / (2 * np.pi)
