"""Who may open the page: passcodes before anybody beyond this machine, and the authorization that checks them."""

from __future__ import annotations

import sys

from monitor.dashboard.security.authorization import AuditWriter, Authorization, names_of_machine
from monitor.errors import MonitorError
from monitor.station.server_config import ServerConfig
from monitor.store import AccessFile, DataFolder


class NetworkNeedsPasscode(MonitorError):
    """The page was to be served beyond this machine before anybody has a passcode."""

    code = "network-needs-passcode"


def check_passcodes(config: ServerConfig, folder: DataFolder) -> None:
    """Refuse to serve the network before somebody has a passcode.

    Raises
    ------
    NetworkNeedsPasscode, AccessNotUsable
    """
    if not (config.beyond_this_machine or config.behind_proxy):
        return
    if not AccessFile(folder.access_file).has_owner:
        raise NetworkNeedsPasscode(
            what="The page is to be served beyond this machine, and nobody has a passcode.",
            means="Everybody on the network could read and change all data; nothing was started.",
            do="Set a passcode first: hang-monitor passcode (with the same --data, if one is given).",
        )
    if not config.secure:
        _write_line(
            "The page is served to the network without TLS: anybody who can listen on the network can read along.\n"
            "docs/security.md shows how to give it a certificate."
        )


def authorization_of(config: ServerConfig, folder: DataFolder, audit: AuditWriter | None) -> Authorization:
    """Return who may do what on a page that is reached in this way, by the passcodes of a folder."""
    return Authorization(
        AccessFile(folder.access_file),
        network=config.beyond_this_machine,
        behind_proxy=config.behind_proxy,
        secure=config.secure,
        names=frozenset(config.names) | (names_of_machine() if config.beyond_this_machine else frozenset()),
        audit=audit,
        tell=_write_line,
    )


def _write_line(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
