"""Limits on sign-in attempts: failures are counted per address and in total."""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass

FREE_FAILURES = 5
FIRST_LOCK_S = 60.0
LONGEST_LOCK_S = 3600.0
FORGIVEN_AFTER_S = 24 * 3600.0
MOST_KEYS = 2048
ALL_FAILURES, ALL_WITHIN_S = 100, 3600.0
"""Failures that the whole network together may make in that time; this machine itself is not counted. A hundred
guesses an hour need more than a year for one passcode of six random digits, and passcodes have at least eight
characters."""


@dataclass(slots=True)
class _Record:
    failures: int = 0
    locked_until_s: float = 0.0
    last_s: float = 0.0


class Attempts:
    """Counts failed sign-ins. After five an address waits a minute, then two, four ... up to an hour.

    The limit is checked before any passcode, so a locked-out guesser learns nothing and costs nothing.

    Parameters
    ----------
    clock_s : callable
        Monotonic seconds.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._records: OrderedDict[str, _Record] = OrderedDict()
        self._all: deque[float] = deque(maxlen=ALL_FAILURES)

    def wait_s(self, address: str) -> float:
        """Return for how long an address must wait before its next try; 0.0 for none."""
        now_s = self._clock_s()
        with self._lock:
            record = self._records.get(key_of(address))
            own_s = record.locked_until_s - now_s if record is not None else 0.0
            everyone_s = 0.0
            if len(self._all) == ALL_FAILURES and not is_loopback(address):
                everyone_s = self._all[0] + ALL_WITHIN_S - now_s
            return max(0.0, own_s, everyone_s)

    def failed(self, address: str) -> None:
        """Count a failure."""
        now_s, key = self._clock_s(), key_of(address)
        with self._lock:
            record = self._records.pop(key, None)
            if record is None or now_s - record.last_s > FORGIVEN_AFTER_S:
                record = _Record()
            record.failures, record.last_s = record.failures + 1, now_s
            beyond = record.failures - FREE_FAILURES
            if beyond >= 0:
                record.locked_until_s = now_s + min(LONGEST_LOCK_S, FIRST_LOCK_S * 2 ** min(beyond, 16))
            self._records[key] = record
            while len(self._records) > MOST_KEYS:
                self._records.popitem(last=False)
            if not is_loopback(address):
                self._all.append(now_s)

    def succeeded(self, address: str) -> None:
        """Forget an address' failures."""
        with self._lock:
            self._records.pop(key_of(address), None)


class Bucket:
    """Limits the requests per second of each address, with a burst allowance for opening a page.

    Parameters
    ----------
    rate_Hz, reserve : float
        Requests a second in the long run, and at once.
    """

    def __init__(self, rate_Hz: float, reserve: float, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._rate_Hz, self._reserve, self._clock_s = rate_Hz, reserve, clock_s
        self._lock = threading.Lock()
        self._levels: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, address: str) -> bool:
        """Take one request from an address's allowance; false when it is used up."""
        now_s, key = self._clock_s(), key_of(address)
        with self._lock:
            level, then_s = self._levels.pop(key, (self._reserve, now_s))
            level = min(self._reserve, level + (now_s - then_s) * self._rate_Hz)
            allowed = level >= 1.0
            self._levels[key] = (level - allowed, now_s)
            while len(self._levels) > MOST_KEYS:
                self._levels.popitem(last=False)
            return allowed


def key_of(address: str) -> str:
    """Return what an address is counted under: IPv6 by its /64, which one household or device owns as a whole."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        mapped = parsed.ipv4_mapped
        return str(mapped) if mapped else str(ipaddress.ip_network((parsed, 64), strict=False))
    return str(parsed)


def is_loopback(address: str) -> bool:
    """Say whether an address is this machine's own."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(parsed, ipaddress.IPv6Address) and parsed.ipv4_mapped:
        return parsed.ipv4_mapped.is_loopback
    return parsed.is_loopback
