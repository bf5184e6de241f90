"""Two of SciPy's compiled loops, loaded without the packages around them: a recursive filter and a root search.

``scipy.signal`` and ``scipy.optimize`` would cost a running monitor 49 MB more than the parts of SciPy that it imports
anyway (decision 18). Both loops have names with an underscore, which may change from version to version: each is
tried on an example worked out by hand, and where it is missing or answers differently, the public function is used.
"""

from __future__ import annotations

import functools
import importlib.machinery
import importlib.util
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Filter = Callable[[Array, Array, Array], object]
RootSearch = Callable[[Callable[[float], float], float, float, float], float]

RTOL, MAX_ITERATIONS = 4 * np.finfo(float).eps, 100
"""The defaults of ``scipy.optimize.brentq``."""

_import_lock = threading.Lock()
"""A compiled module that two threads begin to load at once does not load at all."""


def compiled_module(package: str, name: str) -> ModuleType | None:
    """Return the compiled module ``scipy.<package>.<name>`` without importing ``scipy.<package>``; None if it fails."""
    import scipy

    full_name = f"scipy.{package}.{name}"
    with _import_lock:
        if full_name in sys.modules:
            return sys.modules[full_name]
        spec = importlib.machinery.PathFinder.find_spec(name, [str(Path(scipy.__file__).parent / package)])
        if spec is None or spec.origin is None:
            return None
        spec = importlib.util.spec_from_file_location(full_name, spec.origin)
        if spec is None or spec.loader is None:
            return None
        try:
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
        except ImportError:
            return None
        # Under its full name, so that a later import of the whole package finds it and does not load it twice.
        sys.modules[full_name] = module
        return module


def public_sosfilt(sections: Array, signals: Array, states: Array) -> None:
    """Filter in place through ``scipy.signal.sosfilt``."""
    from scipy.signal import sosfilt

    signals[...], final_states = sosfilt(sections, signals, axis=1, zi=states.swapaxes(0, 1))
    states[...] = final_states.swapaxes(0, 1)


@functools.cache
def sosfilt_loop() -> Filter:
    """Return the filter loop: (sections (s, 6), signals (k, n), states (k, s, 2)).

    It changes signals and states in place; all three are in C order.
    """
    loop: Filter | None = getattr(compiled_module("signal", "_sosfilt"), "_sosfilt", None)
    # Two samples through y[n] = x[n] + y[n-1] / 2.
    signals, states = np.array([[1.0, 0.0]]), np.zeros((1, 1, 2))
    try:
        if loop is not None:
            loop(np.array([[1.0, 0.0, 0.0, 1.0, -0.5, 0.0]]), signals, states)
            if signals.tolist() == [[1.0, 0.5]] and states.tolist() == [[[0.25, 0.0]]]:
                return loop
    except (TypeError, ValueError):
        pass
    return public_sosfilt


def public_brentq(f: Callable[[float], float], low: float, high: float, xtol: float) -> float:
    """Find a root through ``scipy.optimize.brentq``."""
    from scipy.optimize import brentq

    return float(brentq(f, low, high, xtol=xtol))


@functools.cache
def brentq_loop() -> RootSearch:
    """Return the root search: (f, low, high, xtol) to the root."""
    loop: Any = getattr(compiled_module("optimize", "_zeros"), "_brentq", None)

    def compiled_brentq(f: Callable[[float], float], low: float, high: float, xtol: float) -> float:
        return float(loop(f, low, high, xtol, RTOL, MAX_ITERATIONS, (), False, True))

    try:
        if abs(compiled_brentq(lambda x: x * x - 2.0, 0.0, 2.0, 1e-13) - 2.0**0.5) < 1e-12:
            return compiled_brentq
    except TypeError:
        pass
    return public_brentq


def brentq(f: Callable[[float], float], low: float, high: float, xtol: float) -> float:
    """Return where a continuous function is 0, to ``xtol`` at most.

    R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4 (from memory).

    Raises
    ------
    ValueError
        It has the same sign at both ends.
    """
    return brentq_loop()(f, low, high, xtol)
