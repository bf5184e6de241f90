"""The libraries that an installed monitor needs, as their own metadata tell: names, versions, licences."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = "hang-monitor"
EXTRAS = ("edf", "flash", "report")
"""Extras for those who use the monitor; those for its tests are not handed out."""

_CLASSIFIED = {
    "License :: OSI Approved :: MIT License": "MIT",
    "License :: OSI Approved :: BSD License": "BSD",
    "License :: OSI Approved :: Apache Software License": "Apache-2.0",
    "License :: OSI Approved :: Python Software Foundation License": "PSF-2.0",
    "License :: OSI Approved :: Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "License :: OSI Approved :: ISC License (ISCL)": "ISC",
}


@dataclass(frozen=True, order=True)
class Library:
    """One library; ``licence`` is as its authors state it, ``wanted_by`` names the extra, empty for the core."""

    name: str
    version: str
    licence: str
    wanted_by: str


def libraries() -> list[Library]:
    """Return what the installed monitor needs, with its extras, in order."""
    result: dict[str, Library] = {}
    for extra in ("", *EXTRAS):
        todo = _requirements(distribution(PROJECT), extra)
        while todo:
            requirement = todo.pop()
            name = canonicalize_name(requirement.name)
            if name in result or name == PROJECT:
                continue
            try:
                dist = distribution(name)
            except PackageNotFoundError:
                continue  # an extra that is not installed here
            result[name] = Library(name, dist.version, licence_of(dist), extra)
            todo += _requirements(dist, "") + [r for e in requirement.extras for r in _requirements(dist, e)]
    return sorted(result.values())


def _requirements(dist: Distribution, extra: str) -> list[Requirement]:
    wanted = [Requirement(text) for text in dist.requires or ()]
    own = [r for r in wanted if r.marker is None or r.marker.evaluate({"extra": extra})]
    plain = {str(r) for r in wanted if r.marker is None or r.marker.evaluate({"extra": ""})}
    return own if not extra else [r for r in own if str(r) not in plain]


def licence_of(dist: Distribution) -> str:
    """Return the licence: the SPDX expression, else the classifiers, else the first line of the free text."""
    messages = dist.metadata
    if expression := messages.get("License-Expression"):
        return expression
    classified = [
        _CLASSIFIED.get(c, c.rpartition(" :: ")[2])
        for c in messages.get_all("Classifier") or ()
        if c.startswith("License")
    ]
    if classified:
        return " AND ".join(sorted(set(classified)))
    return re.split(r"[\n;]", (messages.get("License") or "not stated").strip())[0][:60]


def page() -> str:
    """Return ``docs/licences.md``."""
    rows = [f"| {one.name} | {one.version} | {one.licence} | {one.wanted_by or 'always'} |" for one in libraries()]
    return "\n".join(
        [
            "# Licences of what is used",
            "",
            "The hang monitor itself is under the MIT licence (`LICENSE`). It brings no code of others along; `pip`",
            "fetches these libraries, each under its own licence as its authors state it in its metadata. Debian's",
            "packages (Python, Chromium for the screen) have theirs in `/usr/share/doc`. Tools for tests only are not",
            "handed out and not listed.",
            "",
            "Written by `.venv/bin/python -m tests.release --licences`; a test compares it with what is installed.",
            "",
            "| library | version | licence | needed for |",
            "| --- | --- | --- | --- |",
            *rows,
            "",
        ]
    )
