"""Options that belong together, as dataclasses that a command takes whole."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from dataclasses import field as dataclass_field
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

from monitor.station.server_config import LOOPBACK, PAGE_PORT, ServerConfig


@dataclass
class RigOptions:
    """Which rig is read, and where its description, calibrations and results are."""

    port: Annotated[
        str | None, typer.Option(help="Serial port of the converter board, as hang-monitor ports lists it.")
    ] = None
    rig: Annotated[Path | None, typer.Option(help="Rig description; rig.toml of the data folder if left out.")] = None
    calibration: Annotated[Path | None, typer.Option(help="Calibration; the data folder's newest if left out.")] = None
    data: Annotated[Path | None, typer.Option(help="Data folder; your own default folder if left out.")] = None


@dataclass
class PageOptions:
    """Where the page is served, and by which names browsers may request it."""

    page_port: Annotated[int, typer.Option(help="Port of the live page on this machine; 0: any free one.")] = PAGE_PORT
    host: Annotated[
        str,
        typer.Option(
            help="Address to serve the page at; beyond this machine only once somebody has a passcode "
            "(hang-monitor passcode).",
            metavar="ADDRESS",
        ),
    ] = LOOPBACK
    name: Annotated[
        list[str],
        typer.Option(help="Name under which browsers may request the page; may be repeated.", metavar="NAME"),
    ] = dataclass_field(default_factory=list)
    behind_proxy: Annotated[
        bool,
        typer.Option("--behind-proxy", help="A proxy on this machine passes requests on, under --name and by TLS."),
    ] = False
    certificate: Annotated[Path | None, typer.Option(help="Certificate (PEM) for TLS.", metavar="FILE")] = None
    key: Annotated[Path | None, typer.Option(help="The certificate's key (PEM).", metavar="FILE")] = None

    def server_config(self) -> ServerConfig:
        """Return how the page is served.

        Raises
        ------
        BadInput, CertificateNotUsable
        """
        return ServerConfig(self.host, self.page_port, tuple(self.name), self.behind_proxy, self.certificate, self.key)


@dataclass
class ReplayOptions:
    """A journal in the place of a port."""

    replay: Annotated[
        Path | None, typer.Option(help="Replay a journal instead of reading a port.", metavar="JOURNAL")
    ] = None
    speed: Annotated[float, typer.Option(help="Replay so many times as fast.", min=0.1, max=1000.0)] = 1.0


def takes_option_groups(command: Callable[..., None]) -> Callable[..., None]:
    """Show the fields of each dataclass among a command's parameters as options of their own, in the same order."""
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {name: kind for name, kind in hints.items() if is_dataclass(kind)}
    options: list[inspect.Parameter] = []
    for parameter in inspect.signature(command).parameters.values():
        if parameter.name in groups:
            options += _options_of(groups[parameter.name])
        else:
            options.append(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=hints[parameter.name]))

    @functools.wraps(command)
    def grouped(**given: Any) -> None:
        made = {name: kind(**{f.name: given.pop(f.name) for f in fields(kind)}) for name, kind in groups.items()}
        command(**made, **given)

    grouped.__signature__ = inspect.Signature(options)  # type: ignore[attr-defined]
    grouped.__annotations__ = {option.name: option.annotation for option in options}
    return grouped


def _options_of(group: Any) -> list[inspect.Parameter]:
    hints = get_type_hints(group, include_extras=True)
    return [
        inspect.Parameter(
            one.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=one.default_factory() if one.default_factory is not MISSING else one.default,
            annotation=hints[one.name],
        )
        for one in fields(group)
    ]
