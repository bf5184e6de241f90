"""The invented holds of the store's tests serve here too."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
sys.path.append(str(TESTS / "store"))


@pytest.fixture(scope="session")
def endurance_models() -> dict:
    """Published endurance models; sources stand in the file and in ``tests/reference/README.md``."""
    return json.loads((TESTS / "reference" / "endurance_models.json").read_text())
