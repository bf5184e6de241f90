"""The root of a function between two places, without the package that the search comes from.

The search (R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4, from memory) is SciPy's
compiled one, loaded by itself (decision 10); a SciPy that keeps it elsewhere, or in which it answers otherwise, is
asked through its front door.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from monitor.signals.compiled import compiled_module

Search = Callable[[Callable[[float], float], float, float, float], float]

RTOL, MOST_TURNS = 4 * 2.0**-52, 100


@functools.cache
def _search() -> Search:
    loop: Any = getattr(compiled_module("optimize", "_zeros"), "_brentq", None)

    def plain(f: Callable[[float], float], low: float, high: float, within: float) -> float:
        return float(loop(f, low, high, within, RTOL, MOST_TURNS, (), False, True))

    return plain if _answers(plain) else front_door_search


def _answers(search: Search) -> bool:
    """Say whether a search finds the root of x**2 - 2 between 0 and 2."""
    try:
        found = search(lambda x: x * x - 2.0, 0.0, 2.0, 1e-13)
    except TypeError:
        return False
    return bool(abs(found - 2.0**0.5) < 1e-12)


def front_door_search(f: Callable[[float], float], low: float, high: float, within: float) -> float:
    """Do what the compiled search does, through ``scipy.optimize``."""
    from scipy.optimize import brentq

    return float(brentq(f, low, high, xtol=within))


def root_between(f: Callable[[float], float], low: float, high: float, within: float) -> float:
    """Return where a continuous function is 0, to ``within`` at most.

    Raises
    ------
    ValueError
        It has the same sign at both ends.
    """
    return _search()(f, low, high, within)
