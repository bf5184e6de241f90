"""Serial ports: find, lock, open. The only user of the serial library."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import termios
from dataclasses import dataclass
from pathlib import Path

import serial
from serial.tools import list_ports as serial_list

from firmware_bridge.errors import BridgeError, PortInUse, PortNotFound, PortNotOpened, PortNotPermitted

READ_WAIT_S = 0.02
WRITE_WAIT_S = 0.2


class PortLost(OSError):
    """An open port has vanished; the link turns it into a state."""


@dataclass(frozen=True, slots=True)
class PortDescription:
    """A port as the system lists it; ``serial_number`` is empty where the device has none."""

    path: str
    description: str
    serial_number: str = ""
    vendor_product: str = ""

    @property
    def identity(self) -> str:
        """What identifies the device when it comes back: its serial number, else its path."""
        return self.serial_number or self.path


def list_ports() -> list[PortDescription]:
    """Return the serial ports that the system knows, by path; pseudo-terminals are not listed."""
    ports = []
    for port in serial_list.comports():
        pair = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None and port.pid is not None else ""
        ports.append(PortDescription(port.device, port.description or "", port.serial_number or "", pair))
    return sorted(ports, key=lambda one: one.path)


def describe(path: str) -> PortDescription:
    """Return the description of a path (links are followed), a bare one where the system lists none."""
    real = os.path.realpath(path)
    for one in list_ports():
        if os.path.realpath(one.path) == real:
            return PortDescription(path, one.description, one.serial_number, one.vendor_product)
    return PortDescription(path, "")


def find(wanted: PortDescription) -> str | None:
    """Return the path under which a port can be opened now: its own, else that of its serial number, else None."""
    if Path(wanted.path).exists():
        return wanted.path
    if wanted.serial_number:
        for one in list_ports():
            if one.serial_number == wanted.serial_number:
                return one.path
    return None


class OpenPort:
    """A serial port opened raw and locked for this process alone.

    Two locks are set: an advisory one, which every careful program asks for, and the terminal's exclusive mode, which
    the system itself enforces for all but the superuser.

    Raises
    ------
    PortNotFound, PortInUse, PortNotPermitted, PortNotOpened
    """

    def __init__(self, path: str, baud: int = 115_200) -> None:
        self.path = path
        try:
            self._serial = serial.Serial(
                path, baud, timeout=READ_WAIT_S, write_timeout=WRITE_WAIT_S, exclusive=True, rtscts=False, xonxoff=False
            )
            fcntl.ioctl(self._serial.fileno(), termios.TIOCEXCL)
        except (OSError, ValueError, termios.error) as error:
            raise _opening_error(path, error) from error

    def read(self) -> bytes:
        """Return what has arrived, after at most ``READ_WAIT_S``; may be empty. Raises ``PortLost``."""
        try:
            data: bytes = self._serial.read(1)
            if data:
                data += self._serial.read(self._serial.in_waiting)
        except (OSError, TypeError, termios.error) as error:
            raise PortLost(str(error)) from error
        return data

    def write(self, data: bytes) -> bool:
        """Send bytes; False when the device does not take them in time. Raises ``PortLost``."""
        try:
            self._serial.write(data)
        except serial.SerialTimeoutException:
            return False
        except (OSError, termios.error) as error:
            raise PortLost(str(error)) from error
        return True

    def close(self) -> None:
        """Unlock and close; closing twice or after a loss is harmless."""
        with contextlib.suppress(OSError, ValueError, termios.error):
            # A pseudo-terminal keeps its exclusive mode beyond a close; a real port does not mind.
            fcntl.ioctl(self._serial.fileno(), termios.TIOCNXCL)
        with contextlib.suppress(OSError, termios.error):
            self._serial.close()


def _opening_error(path: str, error: Exception) -> BridgeError:
    """Return the error that explains why a port does not open."""
    number = getattr(error, "errno", None)
    text = str(error)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        known = ", ".join(one.path for one in list_ports()) or "none"
        return PortNotFound(
            what=f"There is no port {path}.",
            means="Without the converter board nothing can be measured.",
            do=f"Plug the board in and give its port; the ports found now: {known}.",
        )
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "exclusively lock" in text:
        return PortInUse(
            what=f"Another program is using the port {path}.",
            means="Two readers would steal each other's readings, so this one does not start.",
            do="Close the other program (perhaps a second monitor or a serial terminal), then start again.",
        )
    if number in (errno.EACCES, errno.EPERM):
        return PortNotPermitted(
            what=f"You are not allowed to open the port {path}.",
            means="The board cannot be read.",
            do="Add your user to the group that owns the port (often dialout), log in again, then start again.",
        )
    return PortNotOpened(
        what=f"The port {path} cannot be opened: {text}.",
        means="The board cannot be read.",
        do="Check that it is a serial port; unplug the board and plug it in again.",
    )
