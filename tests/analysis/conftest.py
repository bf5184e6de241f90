"""The loads made by hand of the pipeline's tests serve here too."""

from __future__ import annotations

import sys
from pathlib import Path

for room in ("pipeline", "store"):
    sys.path.append(str(Path(__file__).parents[1] / room))
