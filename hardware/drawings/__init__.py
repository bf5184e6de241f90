"""The project's drawings, made by program so that a changed dimension is changed everywhere."""

from __future__ import annotations

from collections.abc import Callable

from hardware.drawings import feet, hanging
from hardware.drawings.sheet import Sheet

SHEETS: tuple[tuple[str, Callable[[], Sheet]], ...] = (
    ("mounts", hanging.hangers),
    ("mounts", hanging.rings),
    ("mounts", hanging.load_path),
    ("mounts", feet.platform),
    ("mounts", feet.platform_cell),
)
"""Folder of every sheet and the function that draws it."""
