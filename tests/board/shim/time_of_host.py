"""The real time module, under a name that the invented one does not hide."""

import sys

_path = sys.path[:]
_hidden = sys.modules.pop("time", None)
sys.path[:] = []
from time import ticks_us  # noqa: E402, F401

sys.path[:] = _path
if _hidden is not None:
    sys.modules["time"] = _hidden
