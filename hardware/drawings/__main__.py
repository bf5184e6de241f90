"""Draw every sheet into its folder: ``python -m hardware.drawings`` from the project's folder."""

from __future__ import annotations

import sys
from pathlib import Path

from hardware.drawings import SHEETS

for folder, draw in SHEETS:
    sheet = draw()
    path = Path(__file__).parents[1] / folder / f"{sheet.name}.svg"
    path.write_text(sheet.svg(), encoding="utf-8")
    sys.stdout.write(f"{path}\n")
