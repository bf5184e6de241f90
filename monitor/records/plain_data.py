"""Records as data that any JSON reader takes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any


def plain(value: Any) -> Any:
    """Return ``value`` as data that any JSON reader takes: NumPy scalars unwrapped, NaN and infinities as None."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"A {type(value).__name__} cannot be stored; give numbers, text, lists and dictionaries.")
