"""The invented holds of the store's tests serve here too."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
sys.path += [str(TESTS / "store"), str(TESTS.parent)]


@pytest.fixture(scope="session")
def endurance_models() -> dict:
    """Return published endurance models; sources stand in the file and in ``tests/reference/README.md``."""
    return json.loads((TESTS / "reference" / "endurance_models.json").read_text())
