"""Wheel and source archive, built from the files that git knows, in a folder of their own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]

_BUILD = "import sys, setuptools.build_meta as build; print(getattr(build, sys.argv[1])(sys.argv[2]))"


@dataclass(frozen=True)
class Built:
    """The two archives."""

    wheel: Path
    sdist: Path

    def names_in_wheel(self) -> set[str]:
        """Return the files of the wheel, its own metadata left out."""
        with zipfile.ZipFile(self.wheel) as archive:
            return {name for name in archive.namelist() if ".dist-info/" not in name}

    def names_in_sdist(self) -> set[str]:
        """Return the files of the source archive, seen from its top folder."""
        with tarfile.open(self.sdist) as archive:
            return {name.partition("/")[2] for name in archive.getnames()}


def tracked(root: Path = ROOT) -> list[str]:
    """Return what git keeps of the packages and of what they are built from; what lies there, without git."""
    try:
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=root, capture_output=True, check=True, text=True).stdout
        names = [name for name in listed.split("\0") if name and (root / name).is_file()]
    except (OSError, subprocess.CalledProcessError):
        names = [str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()]
    wanted = ("firmware_bridge/", "monitor/", "pyproject.toml", "README.md", "LICENSE")
    return [name for name in names if name.startswith(wanted) and "__pycache__" not in name]


def build(into: Path, source: Path) -> Built:
    """Build both from a copy, so that no leftovers of earlier builds get in; no network is needed."""
    for name in tracked():
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, source / name)
    into.mkdir(parents=True, exist_ok=True)
    made = []
    for kind in ("build_wheel", "build_sdist"):
        arguments = [sys.executable, "-c", _BUILD, kind, str(into.resolve())]
        done = subprocess.run(arguments, cwd=source, capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{kind} failed: {done.stdout[-2000:]}{done.stderr[-2000:]}")
        made.append(into / done.stdout.split()[-1])
    return Built(*made)


def clean_environment(place: Path, wheel: Path) -> Path:
    """Make an environment with the wheel in it and return its folder of programs.

    The libraries are those of this environment, lent by a path file: they need not be fetched again. Its own editable
    installation of the project is not lent, as path files do not reach through path files.
    """
    venv.create(place, with_pip=False, symlinks=True)
    site = Path(sysconfig.get_path("purelib", vars={"base": str(place)}))
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(place / "bin" / "python"), "install", "-q", "--no-deps",
         "--no-index", "--disable-pip-version-check", str(wheel)],
        check=True, env={**os.environ, "PIP_CONSTRAINT": ""},
    )  # fmt: skip
    (site / "lent.pth").write_text(f"{sysconfig.get_path('purelib')}\n")
    return place / "bin"
