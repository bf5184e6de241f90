"""One value as text of an export."""

from __future__ import annotations

import datetime as dt
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


def utc_text(utc_ns: int, places: int) -> str:
    """Return nanoseconds since 1970 as ISO 8601 text in UTC with ``places`` (0 to 9) decimals of the second."""
    step = 10 ** (9 - places)
    whole_s, rest = divmod((utc_ns + step // 2) // step, 10**places)
    moment = dt.datetime.fromtimestamp(whole_s, dt.UTC)
    fraction = f".{rest:0{places}d}" if places else ""
    return f"{moment:%Y-%m-%dT%H:%M:%S}{fraction}Z"
