"""Power spectral density by averaged windowed segments (``scipy.signal.welch``, without its package: decision 18).

P. D. Welch, IEEE Transactions on Audio and Electroacoustics 15 (1967) 70-73.
"""

from __future__ import annotations

import numpy as np

from monitor.signals.session_loads import Array


def welch(
    signal: Array, rate_Hz: float, rows: int, *, padded: int | None = None, line: bool = False
) -> tuple[Array, Array]:
    """Return frequencies (Hz) and one-sided power densities (unit^2/Hz) of a signal (n,).

    Segments of ``rows`` rows overlap by half, are freed of their mean (with ``line`` of their straight line), weighted
    by a periodic Hann window and zero-padded to ``padded`` rows.
    """
    size = padded or rows
    segments = np.lib.stride_tricks.sliding_window_view(signal, rows)[:: rows - rows // 2]
    segments = segments - segments.mean(axis=1, keepdims=True)
    if line:
        ramp = np.arange(rows) - 0.5 * (rows - 1)
        segments = segments - (segments @ ramp / (ramp @ ramp))[:, None] * ramp
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(rows) / rows)
    power = np.abs(np.fft.rfft(segments * window, size, axis=1)) ** 2
    density = power.mean(axis=0) / (rate_Hz * (window @ window))
    # One-sided: every frequency but 0 and, for an even size, the highest one stands for its negative twin too.
    density[1 : (size + 1) // 2] *= 2
    return np.asarray(np.fft.rfftfreq(size, 1.0 / rate_Hz)), np.asarray(density)
