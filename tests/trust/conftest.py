"""Tests of promises: nobody in, nothing lost. Each does the harm that its promise is about."""

from __future__ import annotations

import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
for folder in ("trust", "dashboard", "service", "store", "pipeline"):
    sys.path.insert(0, str(TESTS / folder))
