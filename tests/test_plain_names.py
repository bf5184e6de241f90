"""One word for one thing: no identifier or file name has a word that the glossary of DEVELOPERS.md retires."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+")
RELEASED = re.compile(r"store/database/migrations/versions/")
"""Migrations name columns as they were called when they were written."""

OUTSIDE = re.compile(r"not[-_]?found|told_deg|tests/bench|^visit_[A-Z]\w+$", flags=re.IGNORECASE)
"""Words of the outside world (HTTP, syntax trees), and a column and key of released files."""

SCRIPT_TEXT = re.compile(r"//[^\n]*|/\*.*?\*/|\"(?:\\.|[^\"\\\n])*\"|'(?:\\.|[^'\\\n])*'", flags=re.DOTALL)
SCRIPT_NAMES = re.compile(r"\b(?:const|let|var|function|class|import)\s+(?:\{([^}]*)\}|([A-Za-z_$][\w$]*))")


def glossary() -> dict[str, set[str]]:
    """Return the glossary's words, each with the words that it replaces."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Glossary")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \|([^|]*)\|$", text, flags=re.MULTILINE)
    return {word.strip(): set(re.findall(r"[a-z]+", retired)) for word, retired in rows if word.strip() != "word"}


def retired_words() -> set[str]:
    """Return every retired word and its plural."""
    words = set().union(*glossary().values())
    return words | {f"{word}s" for word in words}


def tracked(*endings: str) -> list[Path]:
    """Return the tree's own files of some kinds."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.split("\0") if name.endswith(endings) and (ROOT / name).exists()]


def python_names(path: Path) -> Iterator[str]:
    """Yield the names that a Python file binds; those of test functions are sentences."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            if not node.name.startswith("test_"):
                yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.id if isinstance(node, ast.Name) else node.attr


def script_names(path: Path) -> Iterator[str]:
    """Yield the names that a script declares or takes from others."""
    text = SCRIPT_TEXT.sub(" ", path.read_text(encoding="utf-8"))
    for several, single in SCRIPT_NAMES.findall(text):
        yield from re.findall(r"[A-Za-z_$][\w$]*", several or single)


def retired_in(name: str, retired: set[str]) -> set[str]:
    """Return the retired words that a name is made of; "not found" is the outside world's word."""
    return {part.lower() for part in WORD.findall(OUTSIDE.sub("", name))} & retired


def test_the_glossary_has_words_and_none_is_retired_elsewhere():
    words = glossary()
    assert len(words) >= 30
    assert not retired_words() & set(words)
    assert {"stay", "told", "kept", "walk", "desk"} <= retired_words()


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("stay_uid", {"stay"}),
        ("FoundHold", {"found"}),
        ("RigNotFound", set()),
        ("_told_s", {"told"}),
        ("session", set()),
    ],
)
def test_a_retired_word_is_noticed_in_a_name(name, expected):
    assert retired_in(name, {"stay", "found", "told"}) == expected


def test_no_file_is_named_by_a_retired_word():
    retired = retired_words()
    names = {path.relative_to(ROOT) for path in tracked("") if not RELEASED.search(str(path))}
    assert {str(name) for name in names if retired_in(name.stem, retired)} == set()


def test_no_identifier_is_made_of_a_retired_word():
    retired = retired_words()
    read = [(path, python_names) for path in tracked(".py") if not RELEASED.search(str(path))]
    read += [(path, script_names) for path in tracked(".js")]
    bad = {
        f"{path.relative_to(ROOT)}: {name}" for path, names in read for name in names(path) if retired_in(name, retired)
    }
    assert bad == set()
