"""``docs/coaching.md`` says what the code does: every figure with its source, the template word for word."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import pytest

from monitor.coaching.people.programme import template_text

ROOT = Path(__file__).parents[2]
COACHING = ROOT / "monitor" / "coaching"
PAGE = (ROOT / "docs" / "coaching.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| `([\w.]+)` \| (-?[\d.]+) \| (.+?) \|$", PAGE.split("## Figures")[1], flags=re.MULTILINE)


@pytest.mark.parametrize(("name", "value", "source"), ROWS, ids=[row[0] for row in ROWS])
def test_every_figure_is_that_of_the_code_and_has_a_source(name, value, source):
    module, *steps = name.split(".")
    (file,) = COACHING.rglob(f"{module}.py")
    figure = import_module(".".join(file.relative_to(ROOT).with_suffix("").parts))
    for step in steps:
        figure = getattr(figure, step)
    assert figure == pytest.approx(float(value))
    assert "common practice, no source" in source or re.search(r"\d{4}|normal|numeric", source)


def test_the_page_lists_the_figures_and_shows_the_default_programme_whole():
    assert len(ROWS) >= 30
    assert template_text("long_hangs") in PAGE


def test_the_cautions_come_first():
    assert PAGE.index("Ask a licensed clinician") < PAGE.index("## Person")
    assert "clears nobody" in PAGE
