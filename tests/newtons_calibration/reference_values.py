"""Published values for the tests of this folder."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np

REFERENCE = Path(__file__).parents[1] / "reference"


def table(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the two columns of a reference table."""
    with (REFERENCE / name).open(newline="") as file:
        rows = [[float(x) for x in row] for row in list(csv.reader(file))[1:]]
    first, second = np.array(rows).T
    return first, second


def values(name: str) -> dict:
    return json.loads((REFERENCE / name).read_text())


def digits(result: float, certified: float) -> float:
    """Return how many digits agree: the log relative error that NIST uses for its reference data sets."""
    return 15.0 if result == certified else -np.log10(abs(result - certified) / abs(certified))
