"""``docs/measurement.md`` explains every field, every flag, and the numbers that are in use."""

from __future__ import annotations

import dataclasses
import importlib
import re
from pathlib import Path

import pytest

from monitor.measures.flag_words import FLAG_WORDS
from monitor.newtons.curve_file import CURVE_HEADER
from monitor.records import hold_result, session_result

PAGE = (Path(__file__).parents[2] / "docs" / "measurement.md").read_text(encoding="utf-8")
PARTS = (
    hold_result.HoldResult,
    session_result.SessionResult,
    session_result.Quality,
    hold_result.Swing,
    hold_result.StateSpan,
    hold_result.Travel,
    hold_result.Regrip,
    hold_result.ThirdSupport,
    hold_result.Touch,
    hold_result.Stillness,
    hold_result.Slope,
    hold_result.Slopes,
    hold_result.Sway,
)


def section(title: str) -> str:
    """Return the text between a heading that ends with ``title`` and the next of its level."""
    result = re.search(rf"^## \d+\. {re.escape(title)}\n(.*?)(?=^## |\Z)", PAGE, flags=re.DOTALL | re.MULTILINE)
    assert result, f"the section {title} is gone"
    return result[1]


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_every_field_of_a_result_is_explained(part):
    explained = set(re.findall(r"`([\w.]+)`", section("The measures of a hold")))
    assert {field.name for field in dataclasses.fields(part)} - explained == set()


def test_every_flag_is_explained_and_no_other():
    explained = re.findall(r"^\| `([\w.]+)` \| \S", section("Flags"), flags=re.MULTILINE)
    assert sorted(explained) == sorted(FLAG_WORDS)


def test_the_numbers_are_those_in_use():
    rows = re.findall(r"^\| `(\w+)` \| ([\d.]+)[^|]* \| `([\w.]+)` \|$", section("Numbers in use"), flags=re.MULTILINE)
    assert len(rows) > 25, "the table of numbers is gone"
    for name, value, module in rows:
        assert getattr(importlib.import_module(module), name) == float(value), f"{module}.{name}"


def test_numbers_that_the_text_names_stand_in_the_table():
    named = set(re.findall(r"`([A-Z][A-Z_]+(?:_[A-Za-z_]+)?)`", PAGE.partition("## 8.")[0]))
    listed = set(re.findall(r"^\| `(\w+)` \|", section("Numbers in use"), flags=re.MULTILINE))
    assert named
    assert named - listed == set()


def test_the_files_header_is_the_one_that_is_read():
    assert f"`{CURVE_HEADER}`" in section("Load-curve files")
