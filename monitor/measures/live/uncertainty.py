"""How well the live shares are known: spans as far as they do not cancel, zeros since they were last read, noise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.measures.picture import WeightSource
from monitor.rig import Rig
from monitor.signals.session_loads import Array
from monitor.signals.zeros import wandered_N2

SMOOTHED_NOISE_N = 0.2
"""What smoothing to 2 Hz leaves of one cell's noise: about 0.5 N in a reading (docs/measurement.md, section 9)."""


@dataclass(frozen=True, slots=True)
class LiveWeight:
    """Bodyweight by now (N).

    ``u_N`` is its standard uncertainty; ``u_own_N`` the part that does not come from the cells' spans.
    """

    bodyweight_N: float
    u_N: float
    u_own_N: float
    source: WeightSource


class LiveUncertainty:
    """Standard uncertainties of what a screen shows; loads are taken as shared evenly by the cells of a part.

    Parameters
    ----------
    rig : Rig
    u_zero_N : (channels,) float
        Of the calibration's zeros.
    covariance : (channels, channels) float
        Of the relative spans.
    """

    def __init__(self, rig: Rig, u_zero_N: Array, covariance: Array) -> None:
        self._cells = {"bar": len(rig.bar_index), "platform": len(rig.platform_index)}
        self._calibrated_zero_N2 = {
            part: float(np.sum(u_zero_N[list(index)] ** 2))
            for part, index in (("bar", rig.bar_index), ("platform", rig.platform_index))
        }
        bar, feet, nothing = _even(rig.bar_index, rig), _even(rig.platform_index, rig), np.zeros(len(rig.channels))
        weighed_by = {"standing": feet, "hang": bar, "given": nothing}
        self._u_weight = {source: _u(by, covariance) for source, by in weighed_by.items()}
        self._u_beta = {source: _u(bar - by, covariance) for source, by in weighed_by.items()}
        self._u_alpha = {source: _u(feet - by, covariance) for source, by in weighed_by.items()}
        self._zero_read_s: dict[str, float | None] = {"bar": None, "platform": None}

    def zero_read(self, part: str, now_s: float) -> None:
        """Remember that a part's zero has just been read."""
        self._zero_read_s[part] = now_s

    def u_weight_N(self, source: WeightSource, weight_N: float) -> float:
        """Return what the spans leave open of a bodyweight, N."""
        return self._u_weight[source] * weight_N

    def u_beta(self, beta: float, weight: LiveWeight, now_s: float) -> float:
        """Return the standard uncertainty of beta."""
        return _u_share(self._u_beta[weight.source], beta, weight, self._part_N2("bar", now_s))

    def u_alpha(self, alpha: float, weight: LiveWeight, now_s: float) -> float:
        """Return the standard uncertainty of a weighed alpha."""
        return _u_share(self._u_alpha[weight.source], alpha, weight, self._part_N2("platform", now_s))

    def _part_N2(self, part: str, now_s: float) -> float:
        """Return the variance of a part's load from its zero and its noise, N^2."""
        read_s, cells = self._zero_read_s[part], self._cells[part]
        zero_N2 = self._calibrated_zero_N2[part] if read_s is None else cells * float(wandered_N2(now_s - read_s))
        return cells * SMOOTHED_NOISE_N**2 + zero_N2


def _u_share(u_span: float, share: float, weight: LiveWeight, part_N2: float) -> float:
    """Combine independent contributions (JCGM 100:2008, 5.1.2)."""
    weight_N = weight.bodyweight_N
    return math.sqrt((share * u_span) ** 2 + (share * weight.u_own_N / weight_N) ** 2 + part_N2 / weight_N**2)


def _even(index: tuple[int, ...], rig: Rig) -> Array:
    share = np.zeros(len(rig.channels))
    share[list(index)] = 1.0 / max(1, len(index))
    return share


def _u(lever: Array, covariance: Array) -> float:
    return math.sqrt(max(0.0, float(lever @ covariance @ lever)))
