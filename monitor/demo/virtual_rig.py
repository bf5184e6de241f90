"""The demo rig: invented people on invented cells, as counts for a virtual board."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from monitor.demo.electronics import Electronics, Faults
from monitor.demo.scenario import Scenario
from monitor.demo.truth import HoldTruth
from monitor.newtons.calibration import Calibration, ChannelCalibration
from monitor.rig import STANDARD_CHANNELS, Rig

BAR_CELL_N, FOOT_CELL_N = 3000.0, 1500.0
"""Rated capacities of the invented cells: those of the bar bear twice a person of 130 kg (hardware/loads.md)."""


def demo_rig(rate_Hz: float = 80.0) -> Rig:
    """Return the description of the demo's rig: two bar cells, four under the platform, marked as invented."""
    channels = tuple(
        dataclasses.replace(channel, rated_N=BAR_CELL_N if channel.part == "bar" else FOOT_CELL_N)
        for channel in STANDARD_CHANNELS
    )
    return Rig("Demo rig", channels, nominal_rate_Hz=rate_Hz, mount_rating_N=3000.0, invented=True)


def calibrate(electronics: Electronics, rig: Rig, *, seed: int, at: str = "") -> Calibration:
    """Return what a calibration of these electronics might have found: off by about its standard uncertainties.

    Parameters
    ----------
    electronics : Electronics
    rig : Rig
        Names of the channels.
    seed : int
    at : str
        ISO 8601 date of the calibration.
    """
    rng = np.random.default_rng([seed, 0xCA1])
    faults = electronics.faults
    channels = []
    for name, zero, gain in zip(
        rig.names, electronics.zero_counts.tolist(), electronics.counts_per_N.tolist(), strict=True
    ):
        # Within two standard uncertainties: the demo must not fail on a calibration that one would repeat.
        off_zero, off_span = np.clip(rng.standard_normal(2), -2.0, 2.0).tolist()
        channels.append(
            ChannelCalibration(
                channel=name,
                zero_counts=zero + off_zero * faults.u_zero_N * gain,
                N_per_count=(1 + off_span * faults.u_rel_span) / gain,
                u_zero_counts=faults.u_zero_N * gain,
                u_rel_span=faults.u_rel_span,
                zero_at=at,
                span_at=at,
            )
        )
    return Calibration(tuple(channels), "demo")


class DemoRig:
    """Everything behind the demo's virtual board; the same seed gives the same counts.

    Parameters
    ----------
    seed : int
    rate_Hz : float
        Conversions per second.
    sessions : int or None
        How many people come; None: without end.
    faults : Faults or None
        None: those of ordinary electronics.
    calibrated_at : str
        ISO 8601 date that the calibration bears.

    Attributes
    ----------
    rig : Rig
    calibration : Calibration
        Slightly wrong, within its own uncertainties.
    scenario : Scenario
    electronics : Electronics
        Their true state.
    """

    def __init__(
        self,
        seed: int = 0,
        rate_Hz: float = 80.0,
        *,
        sessions: int | None = None,
        faults: Faults | None = None,
        calibrated_at: str = "",
    ) -> None:
        self.rig = demo_rig(rate_Hz)
        self.scenario = Scenario(seed, rate_Hz, sessions=sessions)
        capacity_N = [channel.rated_N or FOOT_CELL_N for channel in self.rig.channels]
        self.electronics = Electronics(capacity_N, rate_Hz, seed=seed, faults=faults or Faults())
        self.calibration = calibrate(self.electronics, self.rig, seed=seed, at=calibrated_at)
        self._given = 0
        self._counts = np.empty((0, len(capacity_N)), dtype=np.int32)
        self._missed = np.empty(0, dtype=bool)

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed; fewer at the end.

        Made for ``VirtualBoard``. What comes does not depend on how it is cut.
        """
        while len(self._counts) < n:
            load_N = self.scenario.advance()
            if not len(load_N):
                break
            counts, missed = self.electronics.convert(load_N)
            self._counts = np.concatenate((self._counts, counts))
            self._missed = np.concatenate((self._missed, missed))
        counts, self._counts = self._counts[:n], self._counts[n:]
        missed, self._missed = self._missed[:n], self._missed[n:]
        self._given += len(counts)
        return counts, missed

    @property
    def given_s(self) -> float:
        """How much was given out, in seconds of the scenario."""
        return self._given / self.scenario.rate_Hz

    def truth(self) -> list[HoldTruth]:
        """Return the holds that were over by the last conversion given out."""
        return self.scenario.truth_until(self.given_s)
