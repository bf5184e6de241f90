"""How the page is reached: this machine alone, or the local network behind passcodes, by TLS or through a proxy."""

from __future__ import annotations

import ipaddress
import ssl
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.errors import BadInput, MonitorError

if TYPE_CHECKING:
    from monitor.dashboard.security.authorization import AuditWriter, Authorization
    from monitor.store import DataFolder

LOOPBACK = "127.0.0.1"


class NetworkNeedsPasscode(MonitorError):
    """The page was to be served beyond this machine before anybody has a passcode."""

    code = "network-needs-passcode"


class CertificateNotUsable(MonitorError):
    """The certificate or its key cannot be used."""

    code = "certificate-not-usable"


@dataclass(frozen=True)
class ServerConfig:
    """Where the page listens and how.

    Attributes
    ----------
    host : str
        Address to listen at; the loopback address is this machine alone.
    names : tuple of str
        Further names under which the page may be asked for.
    behind_proxy : bool
        A proxy on this machine passes requests on.
    certificate, key : Path or None
        For TLS.
    """

    host: str = LOOPBACK
    names: tuple[str, ...] = ()
    behind_proxy: bool = False
    certificate: Path | None = None
    key: Path | None = None

    @classmethod
    def checked(
        cls, host: str, names: Sequence[str], behind_proxy: bool, certificate: Path | None, key: Path | None
    ) -> ServerConfig:
        """Return the doorway that a command asks for.

        Raises
        ------
        BadInput, CertificateNotUsable
        """
        try:
            host = str(ipaddress.ip_address(host))
        except ValueError:
            raise BadInput(
                what=f"{host!r} is no address of this machine.",
                means="The page would not be reachable; nothing was started.",
                do="Give an address such as 192.168.1.20, or 0.0.0.0 for every network that this machine is in.",
            ) from None
        if (certificate is None) != (key is None):
            raise BadInput(
                what="A certificate without its key was given, or a key without its certificate.",
                means="The page cannot be served by TLS; nothing was started.",
                do="Give both, --certificate and --key.",
            )
        if behind_proxy and not names:
            raise BadInput(
                what="The page is to be served through a proxy, and no name is given.",
                means="Browsers would be refused: they ask for the proxy's name.",
                do="Give the name that browsers ask for with --name.",
            )
        if certificate is not None and key is not None:
            _check_certificate(certificate, key)
        return cls(host, tuple(names), behind_proxy, certificate, key)

    @property
    def beyond_this_machine(self) -> bool:
        """Say whether anybody but this machine can reach the page."""
        return not ipaddress.ip_address(self.host).is_loopback

    @property
    def secure(self) -> bool:
        """Say whether browsers reach the page by TLS; a proxy is taken to speak it."""
        return self.certificate is not None or self.behind_proxy

    def check_passcodes(self, folder: DataFolder) -> None:
        """Refuse to open the door to the network before somebody has a passcode.

        Raises
        ------
        NetworkNeedsPasscode
        AccessNotUsable
        """
        from monitor.store import AccessFile

        if not (self.beyond_this_machine or self.behind_proxy):
            return
        if not AccessFile(folder.access_file).has_owner:
            raise NetworkNeedsPasscode(
                what="The page is to be served beyond this machine, and nobody has a passcode.",
                means="Everybody on the network could read and change what is kept; nothing was started.",
                do="Set a passcode first: hang-monitor passcode (with the same --data, if one is given).",
            )
        if not self.secure:
            _tell(
                "The page is served to the network without TLS: whoever can listen on the network can read along.\n"
                "docs/security.md tells how to give it a certificate."
            )

    def authorization(self, folder: DataFolder, audit: AuditWriter | None) -> Authorization:
        """Return who looks after this doorway."""
        from monitor.dashboard.security.authorization import Authorization, names_of_machine
        from monitor.store import AccessFile

        return Authorization(
            AccessFile(folder.access_file),
            network=self.beyond_this_machine,
            behind_proxy=self.behind_proxy,
            secure=self.secure,
            names=frozenset(self.names) | (names_of_machine() if self.beyond_this_machine else frozenset()),
            audit=audit,
            tell=_tell,
        )


def _tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _check_certificate(certificate: Path, key: Path) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password="")
    except (OSError, ssl.SSLError) as error:
        raise CertificateNotUsable(
            what=f"The certificate {certificate} with the key {key} cannot be used: {error}.",
            means="The page cannot be served by TLS; nothing was started.",
            do="Give a certificate in PEM form and the key that belongs to it, without a password, readable by this "
            "user.",
        ) from error
