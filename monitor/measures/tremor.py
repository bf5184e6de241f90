"""Tremor: the rms of S between 6 and 12 Hz, the converter's noise taken off."""

from __future__ import annotations

import functools

import numpy as np

from monitor.signals.iir_filters import band_pass, frequency_response, zero_phase
from monitor.signals.session_loads import Array
from monitor.signals.spectrum import welch

BAND_Hz = (6.0, 12.0)
"""Physiological tremor lies between 4 and 12 Hz (reference/frequency_bands.json); the design asks for 6 to 12."""

NOISE_BAND_Hz = (20.0, 32.0)
"""White noise is read where neither tremor nor, at 80 per second, half of the rate is near (common practice, no
source)."""

ORDER = 4
"""Of the Butterworth band-pass, each flank (common practice, no source)."""

LINE = 6.0
"""What stands so many times above the median of the band is a line, mains hum for instance (common practice, no
source)."""

EDGE_S = 0.1
"""Left out of the filter's output at either end: before the first reading and after the last it knows only mirrors
(common practice, no source)."""


def _band_power(signal_N: Array, band_Hz: tuple[float, float], rate_Hz: float) -> float:
    edge = round(EDGE_S * rate_Hz)
    out = zero_phase(band_pass(ORDER, band_Hz, rate_Hz), signal_N)[edge:-edge]
    return float(np.mean(out**2))


@functools.lru_cache(maxsize=16)
def _noise_width_Hz(band_Hz: tuple[float, float], rate_Hz: float) -> float:
    """Return the equivalent noise bandwidth of the two-pass filter (the integral of |H|^4 over frequency)."""
    f = np.arange(4096) * rate_Hz / 8192
    return float(np.trapezoid(np.abs(frequency_response(band_pass(ORDER, band_Hz, rate_Hz), f, rate_Hz)) ** 4, f))


def _noise_density(signal_N: Array, rate_Hz: float) -> float:
    """Return the white noise's power density (N^2/Hz), lines far above the rest left out."""
    frequency, density = welch(signal_N, rate_Hz, min(len(signal_N), round(2 * rate_Hz)))
    inside = density[(frequency > NOISE_BAND_Hz[0]) & (frequency < NOISE_BAND_Hz[1])]
    return float(np.mean(inside[inside <= LINE * np.median(inside)]))


def tremor_N(signal_N: Array, rate_Hz: float) -> float | None:
    """Return the rms of the tremor in a stretch of S (n,), N; None for less than 2 s or a rate below 70 per second.

    Noise is white and known from the band of 20 to 32 Hz, where no tremor is; lines in it (mains hum, folded down by
    the sampling) are left out. A reading is a mean over its interval: the loss of sin(x)/x at 9 Hz (2 % at 80 per
    second) is made good.
    """
    if len(signal_N) < 2 * rate_Hz or rate_Hz < 70:
        return None
    rate_Hz = round(rate_Hz, 2)  # so that filters are designed once for a rig
    power = _band_power(signal_N, BAND_Hz, rate_Hz)
    density = _noise_density(signal_N, rate_Hz)
    power -= density * _noise_width_Hz(BAND_Hz, rate_Hz)
    averaging = float(np.sinc(9.0 / rate_Hz))
    return float(np.sqrt(max(0.0, power))) / averaging


def tremor_course_N(signal_N: Array, rate_Hz: float, rows: int) -> Array | None:
    """Return the rms of the tremor in each span of ``rows`` rows of a stretch of S (n,), as ``tremor_N`` computes it.

    The stretch is filtered as a whole; its noise is one. None where ``tremor_N`` is.
    """
    if len(signal_N) < 2 * rate_Hz or rate_Hz < 70:
        return None
    rate_Hz = round(rate_Hz, 2)
    count = len(signal_N) // rows
    squares = zero_phase(band_pass(ORDER, BAND_Hz, rate_Hz), signal_N)[: count * rows].reshape(count, rows) ** 2
    noise = _noise_density(signal_N, rate_Hz) * _noise_width_Hz(BAND_Hz, rate_Hz)
    return np.asarray(np.sqrt(np.maximum(0.0, squares.mean(axis=1) - noise)) / float(np.sinc(9.0 / rate_Hz)))
