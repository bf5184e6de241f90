"""``hang-monitor install-service``: the monitor as a service of a board computer that nobody logs in to."""

from __future__ import annotations

import os
import shlex
import shutil
import stat
import sys
import tempfile
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path, PurePosixPath
from string import Template

import typer

import monitor
from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import BadInput, MonitorError
from monitor.station.server_config import PAGE_PORT

USER = "hang-monitor"
STATE = "hang-monitor"
DATA = f"/var/lib/{STATE}"
LINK = "hang-monitor"
PICO_VENDOR = "2e8a"
"""Vendor number of the RP2040's own USB port (from memory); stands in the rule while no board is plugged in."""

PLACES = {
    "hang-monitor.service": "etc/systemd/system/hang-monitor.service",
    "99-hang-monitor.rules": "etc/udev/rules.d/99-hang-monitor.rules",
    "hang-monitor-user.conf": "etc/sysusers.d/hang-monitor.conf",
    "hang-monitor-page.service": "etc/systemd/user/hang-monitor-page.service",
}
"""Templates in ``monitor/service_files`` and where each is written, below the root folder."""

HIDDEN_BY_PROTECTION = ("/home", "/root", "/run/user")


class ServiceNeedsRoot(MonitorError):
    """Only the administrator may write the service's files."""

    code = "service-needs-root"


class ServiceFileDiffers(MonitorError):
    """A file of the service exists already, with other contents."""

    code = "service-file-differs"


class ServiceFileNotWritten(MonitorError):
    """A file of the service cannot be written."""

    code = "service-file-not-written"


class ServiceProgramHidden(MonitorError):
    """The service's own user cannot read the program where it is."""

    code = "service-program-hidden"


@dataclass(frozen=True, slots=True)
class ServiceFile:
    """A file to be written: its place below the root folder, and its text."""

    place: PurePosixPath
    text: str


def service_files(*, program: Path, page_port: int, match: str, browser: str) -> list[ServiceFile]:
    """Fill in the templates.

    Parameters
    ----------
    program : Path
        The command ``hang-monitor`` of this environment.
    page_port : int
    match : str
        What the udev rule compares (see ``board_match``).
    browser : str
        Path of the browser that shows the page.
    """
    at_home = str(program).startswith(tuple(f"{folder}/" for folder in HIDDEN_BY_PROTECTION))
    values = {
        # In a unit % begins a specifier, and a quoted word ends at a quote.
        "program": str(program).replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$"),
        "port": f"/dev/{LINK}",
        "data": DATA,
        "state": STATE,
        "user": USER,
        "page_port": str(page_port),
        "link": LINK,
        "match": match,
        "browser": browser,
        "protect_home": "read-only" if at_home else "yes",
    }
    templates = files("monitor") / "service_files"
    return [
        ServiceFile(PurePosixPath(place), Template((templates / name).read_text("utf-8")).substitute(values))
        for name, place in PLACES.items()
    ]


def board_match(port: str | None) -> tuple[str, str]:
    """Return what the udev rule compares, and a sentence that says which board that is.

    Parameters
    ----------
    port : str or None
        The board's port now; None: the only USB port there is, else any board of the reference kind.

    Raises
    ------
    BadInput
        The port belongs to no USB device.
    """
    from firmware_bridge.link import list_ports

    known = [one for one in list_ports() if one.vendor_product]
    if port is not None:
        known = [one for one in known if os.path.realpath(one.path) == os.path.realpath(port)]
        if not known:
            raise BadInput(
                what=f"{port} belongs to no USB device.",
                means="The rule for a stable port name could not distinguish it from others.",
                do="Plug the board in; hang-monitor ports lists what is there.",
            )
    if len(known) != 1:
        return f'ATTRS{{idVendor}}=="{PICO_VENDOR}"', f"any board with the USB vendor number {PICO_VENDOR}"
    board = known[0]
    vendor, _, product = board.vendor_product.partition(":")
    parts = [f'ATTRS{{idVendor}}=="{vendor}"', f'ATTRS{{idProduct}}=="{product}"']
    # A serial number comes from the device: only plain ones stand in a rule as they are.
    serial = board.serial_number
    if serial and all(c.isascii() and (c.isalnum() or c in "-_.:") for c in serial):
        parts.append(f'ATTRS{{serial}}=="{serial}"')
        return ", ".join(parts), f"the board with the serial number {serial} ({board.path})"
    return ", ".join(parts), f"boards of the kind {board.vendor_product} ({board.path})"


def own_program() -> Path:
    """Return this environment's ``hang-monitor``, as an absolute path."""
    beside = Path(sys.prefix) / "bin" / "hang-monitor"
    return beside if beside.exists() else Path(shutil.which("hang-monitor") or beside)


def hidden_folder(*paths: Path) -> Path | None:
    """Return the first folder on the way to one of the paths that others may not enter, None where all may."""
    for path in paths:
        for folder in reversed(path.resolve().parents):
            if not folder.stat().st_mode & stat.S_IXOTH:
                return folder
    return None


def write(file: ServiceFile, root: Path, *, replace: bool) -> bool:
    """Write a file atomically, mode 0644; False where it exists already with this text.

    Raises
    ------
    ServiceFileDiffers
        Another text is there and ``replace`` is false.
    ServiceFileNotWritten
    """
    path = root / file.place
    try:
        old = path.read_text("utf-8") if path.exists() else None
        if old == file.text:
            return False
        if old is not None and not replace:
            raise ServiceFileDiffers(
                what=f"{path} exists already, with another text.",
                means="Somebody may have changed it by hand; nothing more was written.",
                do="Look at it, then repeat with --replace; the old text stays beside it with the ending .old.",
            )
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o755)
        if old is not None:
            path.with_name(f"{path.name}.old").write_text(old, "utf-8")
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(file.text)
            os.fchmod(out.fileno(), 0o644)
            out.flush()
            os.fsync(out.fileno())
        Path(temporary).replace(path)
    except (OSError, UnicodeDecodeError) as error:
        raise ServiceFileNotWritten(
            what=f"{path} cannot be written: {getattr(error, 'strerror', None) or error}.",
            means="The service is not installed completely.",
            do="Check the folder and the disk, then run the command again: complete files stay as they are.",
        ) from error
    return True


def next_steps(program: Path) -> str:
    """Return the commands that put the files in force, in an order that works on a rig nobody has calibrated yet."""
    return f"""\
Now, as root:
  systemd-sysusers
  udevadm control --reload && udevadm trigger --subsystem-match=tty
  install -d -o {USER} -g {USER} -m 700 {DATA}
  install -o {USER} -g {USER} -m 600 rig.toml {DATA}/rig.toml
  runuser -u {USER} -- env HOME={DATA} {shlex.quote(str(program))} calibrate --port /dev/{LINK} --data {DATA}
  systemctl daemon-reload
  systemctl enable --now hang-monitor
and, as the user whose screen shows the page:
  systemctl --user enable --now hang-monitor-page
Without a calibration no hold is measured. Where the service runs already, the page calibrates, under First steps.
"""


@reports_errors
def install_service(
    dry_run: bool = typer.Option(False, "--dry-run", help="Print what would be written, and write nothing."),
    board: str | None = typer.Option(
        None,
        help="Port of the rig's board now, for the rule that names it; detected if left out.",
        metavar="PORT",
    ),
    page_port: int = typer.Option(PAGE_PORT, help="Port of the live page on this machine.", min=1, max=65535),
    into: Path = typer.Option(Path("/"), help="Root folder of another system, to prepare an image.", metavar="ROOT"),
    replace: bool = typer.Option(
        False, "--replace", help="Overwrite files with another text; the old ones stay, with the ending .old."
    ),
) -> None:
    """Install the monitor as a service: starts with the machine, restarts when it hangs, one name for the board.

    It writes a systemd unit, a udev rule, the service's own user, and a unit that shows the page full-screen. Nothing
    is started; the commands for that are printed.
    """
    program = own_program()
    match, which = board_match(board)
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or "/usr/bin/chromium"
    planned = service_files(program=program, page_port=page_port, match=match, browser=browser)
    hidden = hidden_folder(program, Path(monitor.__file__), Path(sys.executable))
    problem = hidden and ServiceProgramHidden(
        what=f"The service's user may not enter {hidden}, where the program is.",
        means="The service would not start.",
        do="Put the project into a folder that everybody may read, such as /opt/hang-monitor, and install from there.",
    )
    if dry_run:
        for file in planned:
            sys.stdout.write(f"### {into / file.place}\n{file.text}\n")
        sys.stdout.write(f"The name /dev/{LINK} would go to {which}.\n")
        if problem:
            sys.stdout.write(f"Before installing: {problem}\n")
        sys.stdout.write(f"Nothing was written.\n{next_steps(program)}")
        return
    if problem:
        raise problem
    if into.resolve() == Path("/") and os.geteuid() != 0:
        raise ServiceNeedsRoot(
            what="Only the administrator may install a service.",
            means="Nothing was written.",
            do="Run it with sudo, with the full path of the program; --dry-run shows what would be written.",
        )
    for file in planned:
        fresh = write(file, into, replace=replace)
        sys.stdout.write(f"{'written' if fresh else 'unchanged'}: {into / file.place}\n")
    sys.stdout.write(f"The name /dev/{LINK} goes to {which}.\n{next_steps(program)}")
