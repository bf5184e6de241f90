"""Tells the service manager how the monitor is: ready, alive, stopping (the datagrams of sd_notify(3))."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
from collections.abc import Callable, Mapping

BEATS_PER_DEADLINE = 3
"""The deadline may be missed by two beats: a busy small board must not be restarted for that."""


class ServiceManager:
    """The service manager that started this process, or nobody: then every call does nothing.

    Parameters
    ----------
    address : str or None
        Where datagrams go: a path, or an abstract name that begins with ``@``; None: there is no service manager.
    deadline_s : float or None
        The manager restarts the program when it has not heard a beat for so long; None: it does not watch.
    """

    def __init__(self, address: str | None, deadline_s: float | None = None) -> None:
        self._address = address
        self._deadline_s = deadline_s
        self._ended = threading.Event()
        self._heart: threading.Thread | None = None

    @classmethod
    def of_process(cls, environment: Mapping[str, str] | None = None) -> ServiceManager:
        """Return what the environment of this process names (``NOTIFY_SOCKET``, ``WATCHDOG_USEC``, ``WATCHDOG_PID``).

        The variables are left in place; a value that makes no sense counts as absent. Source of their meaning:
        sd_notify(3) and sd_watchdog_enabled(3), from memory.
        """
        given = os.environ if environment is None else environment
        address = given.get("NOTIFY_SOCKET") or None
        if address is not None and address[0] not in "/@":
            address = None
        deadline_s = None
        with contextlib.suppress(ValueError):
            microseconds = int(given.get("WATCHDOG_USEC", ""))
            meant = given.get("WATCHDOG_PID", "")
            if microseconds > 0 and (not meant or int(meant) == os.getpid()):
                deadline_s = microseconds * 1e-6
        return cls(address, deadline_s)

    def ready(self, status: str, alive: Callable[[], bool]) -> None:
        """Say that the page answers, and from now on beat as long as ``alive`` says so.

        Parameters
        ----------
        status : str
            One line that the service manager shows.
        alive : callable
            Asked before every beat, in a thread of its own. Once it is false no beat follows any more: the manager
            then restarts the program.
        """
        self._tell(f"READY=1\nSTATUS={status.splitlines()[0] if status else ''}")
        if self._address is not None and self._deadline_s is not None and self._heart is None:
            self._heart = threading.Thread(target=self._beat, args=(alive,), name="heartbeat", daemon=True)
            self._heart.start()

    def stopping(self) -> None:
        """Say that the program ends on purpose, and stop the heartbeat. May be called again."""
        if not self._ended.is_set():
            self._ended.set()
            self._tell("STOPPING=1")
        if self._heart is not None:
            self._heart.join()

    def _beat(self, alive: Callable[[], bool]) -> None:
        assert self._deadline_s is not None
        while alive():
            self._tell("WATCHDOG=1")
            if self._ended.wait(self._deadline_s / BEATS_PER_DEADLINE):
                return
        self._tell("STATUS=Measuring has stopped; a restart follows.")

    def _tell(self, text: str) -> None:
        """Send a datagram; a manager that does not listen is no reason to stop measuring."""
        if self._address is None:
            return
        name = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
            wire.settimeout(1.0)
            wire.connect(name)
            wire.send(text.encode())
