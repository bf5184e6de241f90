"""An open source with the rig that it reads, and the configuration that one is opened by."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock, Source
from monitor.newtons.calibration import Calibration
from monitor.procedures.procedure_manager import Practice
from monitor.rig import Rig
from monitor.store import DataFolder
from monitor.store.files.session_recorder import SessionRecorder


class VirtualRig(Protocol):
    """A rig in software: what is on it decides what its virtual board converts."""

    rig: Rig

    def conversions(self, n: int) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the next n conversions, (n, channels) counts and (n,) which were missed."""
        ...


@dataclass(frozen=True, slots=True)
class SourceConfig:
    """Where readings come from.

    Attributes
    ----------
    kind : str
        A key of ``SOURCE_KINDS``.
    port : str
        Path of the serial port.
    wait_for_board : bool
        Start although the port is not there yet.
    journal : Path or None
        What is replayed.
    virtual : VirtualRig or None
        What a virtual board converts.
    practice : Practice or None
        Loads the virtual rig as a guided procedure asks.
    rig : Rig, Path or None
        None: that of the data folder, or of the virtual rig, or of the journal.
    calibration : Calibration, Path or None
        None: the data folder's newest, or that of the journal.
    is_calibrated : bool
        False: the rig is only about to be calibrated; no calibration is needed or looked for.
    speed : float
        Seconds of the source per second.
    """

    kind: str
    port: str = ""
    wait_for_board: bool = False
    journal: Path | None = None
    virtual: VirtualRig | None = None
    practice: Practice | None = None
    rig: Rig | Path | None = None
    calibration: Calibration | Path | None = None
    is_calibrated: bool = True
    speed: float = 1.0


@dataclass(frozen=True, slots=True)
class RigSource:
    """An open source, and the rig whose readings it sends.

    Attributes
    ----------
    rig, calibration : Rig or None, Calibration or None
        None: no rig is chosen yet; it was never calibrated.
    recorder : SessionRecorder or None
        Records the raw frames of sessions; None where they are recorded already.
    practice : Practice or None
    port : str
        Path of the serial port or pseudo-terminal, empty where there is none.
    """

    source: Source
    clock: HostClock
    rig: Rig | None = None
    calibration: Calibration | None = None
    recorder: SessionRecorder | None = None
    practice: Practice | None = None
    port: str = ""


SourceFactory = Callable[[SourceConfig, DataFolder | None, ExitStack], RigSource]
"""Opens a source; what has to be closed besides the source itself goes on the stack."""


def recorded_link(
    port: str,
    rig: Rig | None,
    calibration: Calibration | None,
    *,
    clock: HostClock | None = None,
    recorder: SessionRecorder | None = None,
    practice: Practice | None = None,
    link_class: Callable[..., LinkSource] = LinkSource,
) -> RigSource:
    """Return the source of a serial port whose frames a recorder keeps; the port is opened when it is first read.

    Parameters
    ----------
    port : str
    rig, calibration : Rig or None, Calibration or None
    clock, recorder : HostClock or None, SessionRecorder or None
        None: new ones.
    practice : Practice or None
    link_class : callable
        Makes the link from ``port``, ``tap`` and ``clock``.
    """
    clock = clock or HostClock()
    recorder = recorder or SessionRecorder(clock)
    link = link_class(port, tap=recorder.tap, clock=clock)
    recorder.prologue = link.prologue
    return RigSource(link, clock, rig, calibration, recorder, practice, port)
