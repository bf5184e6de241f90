"""One value as one cell of a CSV table."""

from __future__ import annotations

import math

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def cell(value: object) -> str:
    """Return a value as text for a CSV cell.

    Text that a spreadsheet would run as a formula gets an apostrophe in front, which the spreadsheet takes as "this
    is text". Numbers are left as they are, with every digit that they need to come back the same; None, NaN and
    infinities are empty.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(float(value)) if math.isfinite(value) else ""
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
