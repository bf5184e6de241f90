"""The invented holds of the store and the loads made by hand of the pipeline serve here too."""

from __future__ import annotations

import sys
from pathlib import Path

for room in ("store", "pipeline"):
    sys.path.append(str(Path(__file__).parents[1] / room))
