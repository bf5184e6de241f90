"""SciPy's compiled loops by themselves, without the packages around them (decision 10 tells why)."""

from __future__ import annotations

import importlib.machinery
import importlib.util
import sys
import threading
from pathlib import Path
from types import ModuleType

_one_at_a_time = threading.Lock()
"""A compiled module that begins to load twice at once does not load at all."""


def compiled_module(package: str, name: str) -> ModuleType | None:
    """Return the compiled module ``scipy.<package>.<name>`` without importing ``scipy.<package>``.

    None where it is not found or does not load: who asks has another way then. What a module offers under a name with
    an underscore may change from version to version, so it must be tried on a worked example before it is trusted.
    """
    full = f"scipy.{package}.{name}"
    with _one_at_a_time:
        if full in sys.modules:
            return sys.modules[full]
        return _loaded(package, name, full)


def _loaded(package: str, name: str, full: str) -> ModuleType | None:
    import scipy

    found = importlib.machinery.PathFinder.find_spec(name, [str(Path(scipy.__file__).parent / package)])
    if found is None or found.origin is None:
        return None
    spec = importlib.util.spec_from_file_location(full, found.origin)
    if spec is None or spec.loader is None:
        return None
    try:
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    except ImportError:
        return None
    # Under its full name, so that a later import of the whole package finds it and does not load it twice.
    sys.modules[full] = module
    return module
