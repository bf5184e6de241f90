"""The kinds of sources that readings come from, each with the rig that it belongs to."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock, JournalSource, LinkState, Source, SourceEvent
from firmware_bridge.virtual_board import VirtualBoard
from monitor.analysis import rig_of_journal
from monitor.errors import BadInput
from monitor.newtons.calibration import Calibration, CalibrationNotFound, latest_calibration, load_calibration
from monitor.procedures.procedure_manager import Practice
from monitor.rig import Rig, RigNotFound, load_rig
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


class NoRig:
    """A source for as long as no rig is chosen: absent, and it says what to do."""

    def __init__(self, clock: HostClock) -> None:
        self._clock = clock
        self._closed = threading.Event()

    def events(self) -> Iterator[SourceEvent]:
        """Yield the one state, then wait until the source is closed."""
        yield LinkState(
            "absent", self._clock.monotonic_ns(), "No rig is chosen yet.", "Open First steps and choose one."
        )
        self._closed.wait()

    def close(self) -> None:
        """End the iteration."""
        self._closed.set()


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


def calibration_in_force(
    folder: DataFolder | None, rig: Rig, given: Calibration | Path | None = None
) -> Calibration | None:
    """Return the given calibration, else the newest of a folder; None where the rig was never calibrated."""
    if isinstance(given, Calibration):
        return given
    if given is not None:
        return load_calibration(given, rig.names)
    if folder is None:
        return None
    try:
        return latest_calibration(folder.calibrations, rig.names)
    except CalibrationNotFound:
        return None


def check_practice_folder(folder: DataFolder) -> None:
    """Refuse a data folder that belongs to a real rig: results of a virtual one would pass for its own.

    Raises
    ------
    BadInput
    """
    try:
        is_real = not load_rig(folder.rig_file).invented
    except RigNotFound:
        return
    if is_real:
        raise BadInput(
            what=f"{folder.rig_file} describes a real rig, and a practice is invented.",
            means="People would be weighed by an invented calibration, or an invented check would stand among the "
            "rig's own; nothing was started.",
            do="Give --data a folder of its own, or leave --data out: then nothing is saved.",
        )


def _rig(config: SourceConfig, folder: DataFolder | None) -> Rig:
    if isinstance(config.rig, Rig):
        return config.rig
    if config.rig is not None:
        return load_rig(config.rig)
    return load_rig(folder.rig_file if folder is not None else "rig.toml")


def _calibration(config: SourceConfig, folder: DataFolder | None, rig: Rig) -> Calibration | None:
    return calibration_in_force(folder, rig, config.calibration) if config.is_calibrated else None


def _serial_port(config: SourceConfig, folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    rig = _rig(config, folder)
    rig_source = recorded_link(config.port, rig, _calibration(config, folder, rig))
    if not config.wait_for_board and isinstance(rig_source.source, LinkSource):
        rig_source.source.open_now()
    return rig_source


def _virtual_board(config: SourceConfig, folder: DataFolder | None, stack: ExitStack) -> RigSource:
    assert config.virtual is not None
    if folder is not None:
        check_practice_folder(folder)
    rig = config.virtual.rig
    board = VirtualBoard(
        config.virtual.conversions, channels=len(rig.channels), rate_Hz=rig.nominal_rate_Hz, speed=config.speed
    )
    calibration = _calibration(config, folder, rig)
    stack.enter_context(board)
    return recorded_link(board.port, rig, calibration, clock=HostClock(config.speed), practice=config.practice)


def _journal_replay(config: SourceConfig, folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    assert config.journal is not None
    clock = HostClock()
    source = JournalSource(config.journal, config.speed, clock=clock)
    if config.rig is None:
        return RigSource(source, clock, *rig_of_journal(config.journal))
    rig = _rig(config, folder)
    if config.calibration is None and folder is not None:
        # A recording cannot be calibrated on the page: without a calibration it is refused.
        return RigSource(source, clock, rig, latest_calibration(folder.calibrations, rig.names))
    return RigSource(source, clock, rig, calibration_in_force(folder, rig, config.calibration))


def _no_rig(_config: SourceConfig, _folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    clock = HostClock()
    return RigSource(NoRig(clock), clock)


SOURCE_KINDS: dict[str, SourceFactory] = {
    "port": _serial_port,
    "virtual": _virtual_board,
    "replay": _journal_replay,
    "none": _no_rig,
}


@contextmanager
def open_source(config: SourceConfig, folder: DataFolder | None) -> Iterator[RigSource]:
    """Open a source of any kind; it is closed when the context ends.

    Parameters
    ----------
    config : SourceConfig
    folder : DataFolder or None
        Where rig description and calibrations are, unless the configuration names files.

    Raises
    ------
    BadInput
        For an unknown kind; besides, what the kind itself raises (``PortNotFound``, ``RigNotFound``, ...).
    """
    factory = SOURCE_KINDS.get(config.kind)
    if factory is None:
        raise BadInput(
            what=f"There is no source of readings called {config.kind!r}.",
            means="Nothing was started.",
            do=f"Use one of {', '.join(SOURCE_KINDS)}.",
        )
    with ExitStack() as stack:
        opened = factory(config, folder, stack)
        stack.callback(opened.source.close)
        yield opened
