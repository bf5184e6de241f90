"""What an export format is: its writers, its file, and the library that it needs."""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MonitorError
from monitor.records.stored_hold import StoredHold


class ExportLibraryMissing(MonitorError):
    """The library that writes a format is not installed."""

    code = "export-library-missing"


@dataclass(frozen=True, slots=True)
class ExportedCurve:
    """A hold's load curve with what belongs to it.

    Attributes
    ----------
    t_s : (n,) float, s
        Instants of the load, on the time axis of the hold's result.
    names : tuple of str
        Of the channels.
    load_N : (n, channels) float, N
        NaN where a reading failed.
    rig, calibration : mapping
        As they were in force; there may be no calibration.
    """

    hold: StoredHold
    t_s: NDArray[np.float64]
    names: tuple[str, ...]
    load_N: NDArray[np.float64]
    rig: Mapping[str, Any]
    calibration: Mapping[str, Any] | None


HoldsWriter = Callable[[Iterable[StoredHold], BinaryIO, str], None]
CurveWriter = Callable[[ExportedCurve, BinaryIO, str], None]
"""Writers take what they write, a binary file, and the version of the program."""


@dataclass(frozen=True, slots=True)
class ExportFormat:
    """A format of exported files.

    Attributes
    ----------
    title : str
        For people.
    ending : str
        Of its files, without the dot.
    holds, curve : callable or None
        Write a list of holds and one hold's curve; None where the format cannot hold it.
    library : str or None
        Distribution and module that it needs beyond the program's own.
    extra : str or None
        The extra of the program that brings the library.
    """

    title: str
    ending: str
    media_type: str
    holds: HoldsWriter | None = None
    curve: CurveWriter | None = None
    library: str | None = None
    extra: str | None = None

    @property
    def is_text(self) -> bool:
        """Whether a terminal can show it."""
        return self.media_type.startswith("text/") or self.media_type == "application/json"

    @property
    def missing(self) -> str | None:
        """Why it cannot be written here; None where it can."""
        if self.library is None or importlib.util.find_spec(self.library) is not None:
            return None
        return f"The library {self.library} is not installed."

    def load_library(self) -> ModuleType:
        """Return the library.

        Raises
        ------
        ExportLibraryMissing
        """
        library = self.library or ""
        try:
            return importlib.import_module(library)
        except ImportError as error:
            raise ExportLibraryMissing(
                what=f"The library {library}, which writes {self.title}, is not installed.",
                means="No file was written; other formats work without it.",
                do="Install it beside the program: .venv/bin/python -m pip install -c .ci/constraints.txt -e "
                f'".[{self.extra}]"; or take another format.',
            ) from error
