"""What the documents for people promise is no better than what was measured."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
NAMES = {"onset of a hold": "onset", "release of a hold": "release"}


def rows_of(text: str, heading: str) -> dict[str, list[str]]:
    """Return the rows of the first table after a heading, by their first cell."""
    part = text[text.index(heading) :]
    rows = {}
    for line in part[part.index("\n|") :].lstrip("\n").splitlines():
        if not line.startswith("|"):
            break
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        rows[cells[0]] = cells[1:]
    return rows


MEASURED = rows_of((DOCS / "accuracy.md").read_text(), "## Errors, ordinary sessions")
PROMISED = rows_of((DOCS / "for-clinicians.md").read_text(), "## How well")
ROWS = [name for name in PROMISED if name not in ("quantity",) and not set(name) <= {"-", " ", ":"}]


@pytest.mark.parametrize("name", ROWS)
def test_clinicians_are_promised_no_more_than_was_measured(name: str) -> None:
    value, unit = re.match(r"([\d.]+) (\S+)", PROMISED[name][0]).groups()
    columns = MEASURED["measure"]
    row = MEASURED[NAMES.get(name, name)]
    assert row[columns.index("unit")] == unit
    measured = float(row[columns.index("95 %")])
    assert measured <= float(value)


def test_there_are_promises_to_check() -> None:
    assert len(ROWS) >= 7
