"""Power spectral density by averaged windowed pieces.

P. D. Welch, IEEE Transactions on Audio and Electroacoustics 15 (1967) 70-73.
"""

from __future__ import annotations

import numpy as np

from monitor.signals.session_loads import Array


def power_density(
    signal: Array, rate_Hz: float, rows: int, *, padded: int | None = None, line: bool = False
) -> tuple[Array, Array]:
    """Return frequencies (Hz) and one-sided power densities (unit^2/Hz) of a signal (n,).

    Pieces of ``rows`` rows overlap by half, lose their mean (with ``line`` their straight line), are weighed by a
    periodic Hann window and padded with zeros to ``padded`` rows.
    """
    size = padded or rows
    pieces = np.lib.stride_tricks.sliding_window_view(signal, rows)[:: rows - rows // 2]
    pieces = pieces - pieces.mean(axis=1, keepdims=True)
    if line:
        ramp = np.arange(rows) - 0.5 * (rows - 1)
        pieces = pieces - (pieces @ ramp / (ramp @ ramp))[:, None] * ramp
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(rows) / rows)
    power = np.abs(np.fft.rfft(pieces * window, size, axis=1)) ** 2
    density = power.mean(axis=0) / (rate_Hz * (window @ window))
    # All but the mean's and, of an even size, the highest frequency stand for their negative twin as well.
    density[1 : (size + 1) // 2] *= 2
    return np.asarray(np.fft.rfftfreq(size, 1.0 / rate_Hz)), np.asarray(density)
