"""The rig that an owner chooses on the page of a program started without one."""

from __future__ import annotations

import dataclasses
import os
import stat
import tomllib
from collections.abc import Callable
from typing import Any, Literal

from firmware_bridge.link import list_ports
from monitor.dashboard.routes.setup import SetupFixed
from monitor.errors import BadInput
from monitor.health.builds import BUILDS
from monitor.rig import BadRig, RigNotFound, load_rig, save_rig, write_toml
from monitor.store import DataFolder

CHOICE_FILE = "chosen-rig.toml"


class RigChoice:
    """The chosen rig, on disk and in this run, for the page's first steps."""

    def __init__(self, folder: DataFolder) -> None:
        self.folder = folder
        self.path = folder.root / CHOICE_FILE
        self.port = self._stored_port()
        self.way: Literal["port", "virtual", "none"] = "port" if self.port and folder.rig_file.exists() else "none"
        self.renewed = False
        """Another rig was chosen: the program does not end, it starts anew."""
        self.end: Callable[[], None] = lambda: None
        """Ends the running page; set by whoever serves it."""

    @property
    def ways(self) -> Literal["open", "fixed", "virtual"]:
        """Return what the page may offer."""
        kinds: dict[str, Literal["open", "fixed", "virtual"]] = {"none": "open", "virtual": "virtual", "port": "fixed"}
        return kinds[self.way]

    def ports(self) -> list[dict[str, Any]]:
        """Return the serial ports that the system knows."""
        return [dataclasses.asdict(port) for port in list_ports()]

    def described(self) -> str | None:
        """Return the name of the rig that is described already."""
        try:
            return load_rig(self.folder.rig_file).name
        except (RigNotFound, BadRig):
            return None

    def choose(self, way: str, port: str, build: str | None, mount_rating_N: float | None) -> None:
        """Store the choice, and start the program anew with it.

        Raises
        ------
        SetupFixed, BadInput, RigNotFound, BadRig
        """
        if self.way == "port":
            raise SetupFixed
        if way == "port":
            self._describe(port, build, mount_rating_N)
            self.port = port
        self.way = "port" if way == "port" else "virtual" if way == "virtual" else "none"
        self.renewed = True
        self.end()

    def _describe(self, port: str, build: str | None, mount_rating_N: float | None) -> None:
        if not _is_port(port):
            raise BadInput(
                what=f"There is no port {port!r}.",
                means="No rig was chosen.",
                do="Plug the board in, and choose its port from the list.",
            )
        if build is None:
            load_rig(self.folder.rig_file)
        elif build not in BUILDS:
            raise BadInput(
                what=f"There is no build {build!r}.",
                means="No rig was chosen.",
                do=f"Choose one of {', '.join(BUILDS)}; docs/rig-description.md shows how to describe any other.",
            )
        elif self.folder.rig_file.exists() and self.described() is not None:
            raise BadInput(
                what="A rig is described already in the data folder.",
                means="Writing over it could make earlier work useless; no rig was chosen.",
                do=f"Keep it, or move {self.folder.rig_file.name} away first.",
            )
        else:
            rig = BUILDS[build]
            if rig.has_bar:
                rig = dataclasses.replace(rig, mount_rating_N=mount_rating_N)
            save_rig(self.folder.rig_file, rig)
        write_toml(self.path, {"port": port})

    def _stored_port(self) -> str:
        try:
            port = tomllib.loads(self.path.read_text(encoding="utf-8")).get("port", "")
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
            return ""
        return port if isinstance(port, str) else ""


def _is_port(path: str) -> bool:
    try:
        return stat.S_ISCHR(os.stat(path).st_mode)
    except (OSError, ValueError):  # not a valid name of a file
        return False
