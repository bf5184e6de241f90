"""Swing: amplitude and frequency of the body as a pendulum, from the second harmonic of what bar and feet carry.

For a compound pendulum of small amplitude ``V / W = 1 - kappa theta0**2 cos(2 w t)`` with ``kappa = m d**2 / I_pivot``
(expansion of the pivot force of a rod, docs/measurement.md): the sum of the cells beats at twice the swing's frequency.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.signals.iir_filters import band_pass, zero_phase
from monitor.signals.session_loads import Array
from monitor.statistics import robust_sd

KAPPA = 0.85
"""m d^2 / I_pivot of a hanging body. Segment tables give 0.82 to 0.84 for rigid shoulders
(reference/hanging_body_pendulum.json); stretched arms add to it."""

U_KAPPA_REL = 0.03
"""Half of what segment tables and long arms leave open, as a standard uncertainty (common practice, no source)."""

LARGE_ANGLE = 5.0 / 24.0
"""Of a pendulum released at rest the second harmonic of V / W is ``kappa theta0^2 (1 - 5/24 theta0^2 + ...)``."""

USUAL_BOUNCE_Hz = 3.5
"""Vertical bounce of a body on its arms where the catch does not show it (common practice, no source)."""

BAND_Hz = (0.6, 1.6)
"""Twice the frequency of a hanging body's swing: 0.3 to 0.8 Hz for arms and legs of any length (common practice, no
source)."""

WINDOW_S = 8.0
STEP_S = 0.5
"""An amplitude is fitted in windows of 8 s, several beats, every half second (common practice, no source)."""

LINE_S = 1.5
"""A swing decays evenly: its amplitude is smoothed by a straight line through the windows within this time (common
practice, no source)."""

LEAST_DEG = 0.8
"""A swing below this is lost in breathing and tremor: it is reported as absent (common practice, no source)."""

CLIPPED = 3.0
"""The beat is clipped at so many robust standard deviations while its frequency is estimated (common practice, no
source)."""

FREQUENCY_STEP_Hz = 0.004
"""Grid of the spectrum in which the beat's line is looked for; its phase refines it (common practice, no
source)."""

DRIFT_DEGREE = 3
"""A window's slow drift is fitted by a polynomial of this degree beside the beat (common practice, no source)."""

ASIDE_Hz = (-0.42, -0.26, 0.26, 0.42)
"""Where the noise beside the beat is read: two widths of an 8 s window away and more (common practice, no
source)."""

LEAST_SNR = 2.5
"""A beat must stand out of its own uncertainty by this much to be given as an amplitude (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Pendulum:
    """A hanging body as a pendulum: its kappa and the relative standard uncertainty of it."""

    kappa: float = KAPPA
    u_rel: float = U_KAPPA_REL


ANYBODY = Pendulum()


@dataclass(frozen=True, slots=True)
class SwingCourse:
    """Swing through a hold: rows of time (s), amplitude (degrees), its standard uncertainty; pendulum frequency.

    ``drowned`` says that the beat of some window was within its uncertainty.
    """

    t_s: Array
    amplitude_deg: Array
    u_deg: Array
    drowned: bool
    frequency_Hz: float | None
    u_frequency_Hz: float | None


def amplitude_from_beat(beat: ArrayLike, kappa: float = KAPPA) -> Array:
    """Return the swing's amplitude (rad) whose second harmonic of V / W has the amplitude ``beat`` (any shape).

    The expansion ``beat = kappa theta0**2 (1 - 5/24 theta0**2)`` of the pivot force (docs/measurement.md) is inverted;
    what it leaves out is below 0.1 % of the angle at 40 degrees.
    """
    small = np.maximum(beat, 0.0) / kappa
    return np.asarray(np.sqrt((1.0 - np.sqrt(np.maximum(0.0, 1.0 - 4 * LARGE_ANGLE * small))) / (2 * LARGE_ANGLE)))


def beat_from_amplitude(theta_rad: ArrayLike, kappa: float = KAPPA) -> Array:
    """Return the beat of V / W that a swing of an amplitude (rad) has: the inverse of ``amplitude_from_beat``."""
    square = np.square(np.asarray(theta_rad, dtype=float))
    return np.asarray(kappa * square * (1.0 - LARGE_ANGLE * square))


def swing_course(
    t_s: Array,
    sum_N: Array,
    bodyweight_N: float,
    rate_Hz: float,
    disturbed: NDArray[np.bool_],
    breaks_s: Sequence[float] = (),
    bounce_Hz: float | None = None,
    pendulum: Pendulum = ANYBODY,
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
    bounce_Hz : float or None
        Frequency of the body's vertical bounce on arms and bar, as the catch shows it. The beat drives this bounce
        below its resonance, which enlarges it by ``1 / (1 - (f / f_bounce)**2)`` (undamped oscillator, any text on
        vibration); the enlargement is taken off.
    pendulum : Pendulum
        The body's own kappa where a deliberate swing was measured.
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
    beats = np.lib.stride_tricks.sliding_window_view(beat, rows)[::step]
    masks = np.lib.stride_tricks.sliding_window_view(disturbed, rows)[::step]
    times = np.lib.stride_tricks.sliding_window_view(t_s, rows)[::step].mean(axis=1)
    size, u_size = _amplitudes(beats, ~masks, beat_Hz, rate_Hz)
    for at_s in breaks_s:
        size[np.abs(times - at_s) < WINDOW_S / 2] = np.nan
    drowned = size < LEAST_SNR * u_size
    size[drowned] = np.nan
    gain = 1.0 / (1.0 - (beat_Hz / (bounce_Hz or USUAL_BOUNCE_Hz)) ** 2)
    # Noise adds to the square of an amplitude (Rice): its expected share is taken off.
    size = _on_lines(np.sqrt(np.maximum(0.0, size**2 - 2 * u_size**2)), round(LINE_S / STEP_S)) / gain
    u_size = u_size / gain
    theta = amplitude_from_beat(size, pendulum.kappa)
    # theta goes with the root of the beat: u(theta) = u(beat) / (2 kappa theta), and kappa's share beside it.
    u_theta = np.hypot(u_size / (2 * pendulum.kappa * np.maximum(theta, 1e-3)), 0.5 * pendulum.u_rel * theta)
    line = (beat_Hz / 2, u_beat_Hz / 2) if strong else (None, None)
    return SwingCourse(times, np.degrees(theta), np.degrees(u_theta), bool(drowned.any()), *line)


def _on_lines(values: Array, reach: int) -> Array:
    """Return values (n,) put onto the least-squares line through those at most ``reach`` places away, NaN left out."""
    place = np.arange(-reach, reach + 1)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(values, reach, constant_values=np.nan), 2 * reach + 1)
    known, near = np.isfinite(near), np.nan_to_num(near)
    count, along, squares = known.sum(axis=1), known @ place, known @ place**2
    spread = count * squares - along**2
    line = (squares * near.sum(axis=1) - along * (near @ place)) / np.maximum(spread, 1)
    return np.where(np.isfinite(values) & (count > 2), line, values)


def beat_wave(beat: Array, use: NDArray[np.bool_], beat_Hz: float, rate_Hz: float) -> Array:
    """Return (n,) the swing's own part of ``S / W - 1``, to be taken off where something else is measured.

    Fitted in overlapping windows to the rows that may be used and continued through the others.
    """
    rows, hop = min(len(beat), round(WINDOW_S * rate_Hz)), max(1, round(WINDOW_S * rate_Hz / 4))
    design = _design(rows, beat_Hz, rate_Hz)
    taper = np.hanning(rows + 2)[1:-1]
    starts = np.array([*range(0, len(beat) - rows, hop), len(beat) - rows])
    usable = np.lib.stride_tricks.sliding_window_view(use, rows)[starts]
    enough = usable.mean(axis=1) >= 0.4
    starts, usable = starts[enough], usable[enough]
    fitted = _fitted(design, np.lib.stride_tricks.sliding_window_view(beat, rows)[starts], usable)
    waves = taper * (fitted[:, :4] @ design[:, :4].T)
    total, weight = np.zeros(len(beat)), np.full(len(beat), 1e-9)
    for start, wave in zip(starts.tolist(), waves, strict=True):
        total[start : start + rows] += wave
        weight[start : start + rows] += taper
    return np.asarray(total / weight)


def _design(rows: int, beat_Hz: float, rate_Hz: float) -> Array:
    """Return the columns (rows, 8) of the fit: the beat's sine and cosine, growing or dying, and a slow drift."""
    since_middle = np.arange(rows) - 0.5 * (rows - 1)
    x = since_middle / (0.5 * (rows - 1))
    phase = 2 * np.pi * beat_Hz / rate_Hz * since_middle
    cosine, sine = np.cos(phase), np.sin(phase)
    return np.column_stack([cosine, sine, x * cosine, x * sine, *(x**k for k in range(DRIFT_DEGREE + 1))])


def _amplitudes(beats: Array, use: NDArray[np.bool_], beat_Hz: float, rate_Hz: float) -> tuple[Array, Array]:
    """Return the beat's amplitude in the middle of each window (n,) and its standard uncertainty.

    Parameters
    ----------
    beats : (n, rows) float
    use : (n, rows) bool
        NaN is returned for a window of which less than half may be used.
    """
    rows = beats.shape[1]
    design, aside = _design(rows, beat_Hz, rate_Hz), _aside(rows, beat_Hz, rate_Hz)
    size, u_size = np.full(len(beats), np.nan), np.full(len(beats), np.nan)
    count = use.sum(axis=1)
    enough = count >= 0.5 * rows
    usable, part = use[enough], beats[enough]
    fitted = _fitted(design, part, usable)
    size[enough] = np.hypot(fitted[:, 0], fitted[:, 1])
    left = np.where(usable, part - fitted @ design.T, 0.0)
    u_size[enough] = _u_amplitude(left @ aside * (2 / count[enough])[:, None])
    return size, u_size


def _fitted(design: Array, windows: Array, use: NDArray[np.bool_]) -> Array:
    """Return (n, k) the least-squares weights of a design's columns (rows, k) in windows (n, rows), over rows to use.

    By the normal equations, whose sums for all windows are one product: the columns are of like size and far from
    parallel, so that half of the digits that squaring costs are left over.
    """
    columns = design.shape[1]
    products = (design[:, :, None] * design[:, None, :]).reshape(len(design), columns**2)
    squares = (use.astype(float) @ products).reshape(-1, columns, columns)
    onto = np.where(use, windows, 0.0) @ design
    return np.asarray(np.linalg.solve(squares, onto[:, :, None])[:, :, 0])


def _aside(rows: int, beat_Hz: float, rate_Hz: float) -> Array:
    """Return (rows, 2 m) cosines and sines of the frequencies beside the beat, where only noise is expected."""
    frequencies = np.array([beat_Hz + d for d in ASIDE_Hz])
    phase = 2 * np.pi * np.arange(rows)[:, None] * frequencies / rate_Hz
    return np.concatenate([np.cos(phase), np.sin(phase)], axis=1)


def _u_amplitude(beside: Array) -> Array:
    """Return the standard uncertainty (n,) of each part of an amplitude, from cosine and sine parts (n, 2 m) beside it.

    Breathing, tremor and creep colour the noise: what counts is how much of it lies near the beat's frequency.
    """
    return np.asarray(np.sqrt(np.mean(beside**2, axis=1)))


def _beat_frequency(
    t_s: Array, beat: Array, disturbed: NDArray[np.bool_], rate_Hz: float
) -> tuple[float, float, bool] | None:
    """Return the beat's frequency, its standard uncertainty (Hz), and whether the beat stands out from the rest."""
    if (~disturbed).sum() < WINDOW_S * rate_Hz / 2:
        return None
    sections = band_pass(2, BAND_Hz, round(rate_Hz, 2))
    # An undetected pull must not hide the beat: values far above the rest are clipped.
    level = robust_sd(beat[~disturbed], 0.0)
    narrow = zero_phase(sections, np.where(disturbed, 0.0, np.clip(beat, -CLIPPED * level, CLIPPED * level)))
    narrow = np.where(disturbed, 0.0, narrow)
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
