"""Numbers as people read them: digits cut to what the standard uncertainty allows."""

from __future__ import annotations

import math

FALLBACK_DIGITS = 3


def decimals_for(u: float) -> int:
    """Return the decimal places that a standard uncertainty allows: one significant digit, two where it begins with 1.

    JCGM 100:2008, 7.2.6 asks for at most two significant digits; a leading 1 keeps the second (common practice).
    """
    if not math.isfinite(u) or u <= 0:
        return FALLBACK_DIGITS
    exponent = math.floor(math.log10(u))
    leading = round(u / 10**exponent, 6)
    return max(0, -exponent + (1 if leading < 2 else 0))


def with_u(
    value: float | None, u: float | None, unit: str = "", *, scale: float = 1.0, absent: str = "not known"
) -> str:
    """Return ``value ± u unit`` with both multiplied by ``scale``; ``absent`` for None.

    Examples
    --------
    >>> with_u(0.1234, 0.0031, "%", scale=100)
    '12.3 ± 0.3 %'
    """
    if value is None:
        return absent
    tail = f" {unit}" if unit else ""
    if u is None or not math.isfinite(u) or u <= 0:
        return f"{value * scale:.{FALLBACK_DIGITS}g}{tail}"
    places = decimals_for(u * scale)
    return f"{value * scale:.{places}f} ± {u * scale:.{places}f}{tail}"
