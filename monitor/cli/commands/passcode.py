"""``hang-monitor passcode``: who may sign in from the network."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.cli.terminal.error_reporting import reports_errors
from monitor.errors import TellableError

if TYPE_CHECKING:
    from monitor.store import AccessFile, DataFolder

FIRST_NAME = "owner"


@reports_errors
def passcode(
    name: str = typer.Argument(FIRST_NAME, help="Whose passcode."),
    role: str = typer.Option("", help="coach: people, holds, settings; owner: also devices, the audit log, erasing."),
    forget: bool = typer.Option(False, "--forget", help="Take the passcode away and sign the devices out."),
    list_all: bool = typer.Option(False, "--list", help="Show who has a passcode, and which devices are signed in."),
    data: Path | None = typer.Option(None, help="Data folder; your own default folder if left out."),
) -> None:
    """Set a passcode, so that the page may be served to the local network.

    The first one is an owner's. Setting somebody's passcode anew signs their devices out. Works while the monitor
    runs. The passcode is typed twice and not shown; from a pipe one line is read.
    """
    from monitor.store import AccessFile, DataFolder
    from monitor.store.files.access import PASSCODE_ROLES, BadPasscode, Role

    folder = DataFolder.open(data)
    access = AccessFile(folder.access_file)
    if list_all:
        _list(access)
        return
    if forget:
        access.forget(name)
        _audit(folder, "passcode taken away", name)
        sys.stdout.write(f"{name} no longer has a passcode; devices under that name are signed out.\n")
        return
    known = next((a.role for a in access.accounts() if a.name == name), None)
    chosen: Role | None = next((r for r in PASSCODE_ROLES if r == role), None)
    if role and chosen is None:
        raise BadPasscode(
            what=f"There is no role {role!r}.", means="Nothing was changed.", do="Give --role coach or --role owner."
        )
    given = chosen or known or ("coach" if access.has_owner else "owner")
    if sys.stdin.isatty():
        secret = typer.prompt(f"Passcode for {name} ({given})", hide_input=True, confirmation_prompt=True)
    else:
        secret = sys.stdin.readline().rstrip("\r\n")
    account = access.set_passcode(name, given, secret)
    _audit(folder, f"passcode set: {account.role}", account.name)
    sys.stdout.write(f"{account.name} can sign in as {account.role} with this passcode.\n")


def _list(access: AccessFile) -> None:
    if not access.accounts():
        sys.stdout.write("Nobody has a passcode: the page is served to this machine alone.\n")
    for one in access.accounts():
        sys.stdout.write(
            f"{one.name}: {one.role}, since {time.strftime('%Y-%m-%d', time.localtime(one.since_utc_s))}\n"
        )
    for device in access.sign_ins():
        until = time.strftime("%Y-%m-%d", time.localtime(device.ends_utc_s))
        sys.stdout.write(f"  signed in until {until}: {device.name} ({device.role}) on {device.device}\n")


def _audit(folder: DataFolder, what: str, name: str) -> None:
    """Note the change in an existing audit log; a damaged database must not lock the owner out."""
    from monitor.store import open_store

    if not folder.database.exists():
        return
    try:
        with open_store(folder.database) as store:
            store.audit.add("at the machine", what, name)
    except TellableError as error:
        sys.stderr.write(f"hang-monitor: this is not in the audit log: {error.what}\n")
