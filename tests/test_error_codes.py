"""Every error code is unique and explained in ``docs/errors.md``."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import firmware_bridge
import monitor
from firmware_bridge.errors import TellableError

ERRORS_PAGE = Path(__file__).parents[1] / "docs" / "errors.md"


def all_errors() -> list[type[TellableError]]:
    """Import every module of both packages and return each told error once."""
    for package in (firmware_bridge, monitor):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            # The board's own modules run on MicroPython only; a __main__ runs the program.
            if not module.name.startswith("firmware_bridge.board") and not module.name.endswith("__main__"):
                importlib.import_module(module.name)
    result, todo = [], [TellableError]
    while todo:
        error = todo.pop()
        if error not in result:
            result.append(error)
            todo += error.__subclasses__()
    return sorted(
        (e for e in result if e.__module__.partition(".")[0] in ("firmware_bridge", "monitor")),
        key=lambda e: (e.__module__, e.__name__),
    )


def explained_codes() -> list[str]:
    """Return the codes in the first cells of the page's tables, and in its headings."""
    return re.findall(r"^(?:\| |#+ )`([^`]+)`", ERRORS_PAGE.read_text(encoding="utf-8"), re.MULTILINE)


ERRORS = all_errors()


@pytest.mark.parametrize("error", ERRORS, ids=lambda e: f"{e.__module__}.{e.__name__}")
def test_a_code_is_its_class_own_and_explained(error):
    assert "code" in vars(error), "the class shares the code of its parent"
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", error.code)
    assert error.code in explained_codes()


def test_no_code_stands_for_two_errors():
    codes = [error.code for error in ERRORS]
    assert sorted(codes) == sorted(set(codes))
    assert len(codes) > 20


def test_the_page_explains_no_code_that_is_gone_and_none_twice():
    codes = explained_codes()
    assert sorted(codes) == sorted({error.code for error in ERRORS})


def test_an_error_carries_its_triple_to_text_and_data():
    error = TellableError("It broke.", "Nothing is known.", "Mend it.")
    assert str(error) == "It broke. Nothing is known. Mend it."
    assert error.as_dict() == {"code": "error", "what": "It broke.", "means": "Nothing is known.", "do": "Mend it."}
