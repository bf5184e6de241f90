"""Days on a person's own calendar: time zones, dates and midnights."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from monitor.coaching.errors import BadPerson


def zone_of(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name.

    Raises
    ------
    BadPerson
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise BadPerson(
            what=f"There is no time zone {name!r}.",
            means="The person was not saved as given.",
            do="Give a name such as Europe/Vienna.",
        ) from error


def local_zone_name() -> str:
    """Return the IANA name of this machine's time zone, ``UTC`` where it is unknown."""
    candidates = [os.environ.get("TZ", "").lstrip(":"), str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]]
    for name in candidates:
        try:
            if name:
                return ZoneInfo(name).key
        except (ZoneInfoNotFoundError, ValueError, OSError):
            continue
    return "UTC"


def local_day(utc_ns: int, zone: ZoneInfo) -> dt.date:
    """Return the date on the person's calendar."""
    return dt.datetime.fromtimestamp(utc_ns // 1_000_000_000, zone).date()


def day_bounds_ns(day: dt.date, zone: ZoneInfo) -> tuple[int, int]:
    """Return the first instant of a day and of the next, UTC in ns; 23 to 25 hours apart where clocks change."""
    return _midnight_ns(day, zone), _midnight_ns(day + dt.timedelta(days=1), zone)


def _midnight_ns(day: dt.date, zone: ZoneInfo) -> int:
    return round(dt.datetime.combine(day, dt.time(), zone).timestamp()) * 1_000_000_000
