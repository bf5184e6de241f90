"""The project's drawings, made by program so that a changed dimension is changed everywhere."""

from __future__ import annotations

from collections.abc import Callable

from hardware.drawings import boxes, feet, hanging, wires
from hardware.drawings.sheet import Sheet

SHEETS: tuple[tuple[str, Callable[[], Sheet]], ...] = (
    ("mounts", hanging.hangers),
    ("mounts", hanging.rings),
    ("mounts", hanging.load_path),
    ("mounts", feet.platform),
    ("mounts", feet.platform_cell),
    ("mounts", feet.platform_boards),
    ("wiring", wires.cell_to_converter),
    ("wiring", wires.low_cost),
    ("wiring", wires.reference),
    ("wiring", wires.power),
    ("enclosure", boxes.enclosure),
    ("enclosure", boxes.gland_plate),
    ("enclosure", boxes.cable_clamp),
)
"""Folder of every sheet and the function that draws it."""
