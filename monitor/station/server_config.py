"""How the page is reached: this machine alone, or the local network behind passcodes, by TLS or through a proxy."""

from __future__ import annotations

import ipaddress
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import BadInput, MonitorError

LOOPBACK = "127.0.0.1"
PAGE_PORT = 8064


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
    port : int
        0: any free one.
    names : tuple of str
        Further names under which browsers may request the page.
    behind_proxy : bool
        A proxy on this machine passes requests on.
    certificate, key : Path or None
        For TLS.

    Raises
    ------
    BadInput, CertificateNotUsable
    """

    host: str = LOOPBACK
    port: int = PAGE_PORT
    names: Sequence[str] = ()
    behind_proxy: bool = False
    certificate: Path | None = None
    key: Path | None = None

    def __post_init__(self) -> None:
        try:
            ipaddress.ip_address(self.host)
        except ValueError:
            raise BadInput(
                what=f"{self.host!r} is no address of this machine.",
                means="The page would not be reachable; nothing was started.",
                do="Give an address such as 192.168.1.20, or 0.0.0.0 for every network that this machine is in.",
            ) from None
        if (self.certificate is None) != (self.key is None):
            raise BadInput(
                what="A certificate without its key was given, or a key without its certificate.",
                means="The page cannot be served by TLS; nothing was started.",
                do="Give both, --certificate and --key.",
            )
        if self.behind_proxy and not self.names:
            raise BadInput(
                what="The page is to be served through a proxy, and no name is given.",
                means="Browsers would be refused: they request the page by the proxy's name.",
                do="Give the name that browsers use with --name.",
            )
        if self.certificate is not None and self.key is not None:
            _check_certificate(self.certificate, self.key)

    @property
    def beyond_this_machine(self) -> bool:
        """Say whether anybody but this machine can reach the page."""
        return not ipaddress.ip_address(self.host).is_loopback

    @property
    def secure(self) -> bool:
        """Say whether browsers reach the page by TLS; a proxy is taken to speak it."""
        return self.certificate is not None or self.behind_proxy


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
