"""Every flag that the source can set has words, in English and German; every word belongs to a flag that is set."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import monitor
from monitor.measures.flag_words import FLAG_WORDS, in_words

ROOT = Path(monitor.__path__[0])
GERMAN = next((ROOT / "dashboard" / "static").rglob("program-messages-de.js"))
RESULTS = ("HoldResult", "SessionResult")
NOT_OF_RESULTS = ("newtons/calibrating", "health", "demo")
"""What is called flags there are sentences, or made up for the demo."""


def trees() -> dict[Path, ast.Module]:
    paths = (p for p in ROOT.rglob("*.py") if not p.relative_to(ROOT).as_posix().startswith(NOT_OF_RESULTS))
    return {path: ast.parse(path.read_text("utf-8")) for path in paths}


def constants(modules: dict[Path, ast.Module]) -> dict[str, str]:
    """Return the names of all modules' constants that are a text."""
    known: dict[str, str] = {}
    for tree in modules.values():
        for node in tree.body:
            if isinstance(node, ast.Assign):
                for target in node.targets:
                    pairs = (
                        zip(target.elts, node.value.elts, strict=True)
                        if isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple)
                        else [(target, node.value)]
                    )
                    for name, value in pairs:
                        if isinstance(name, ast.Name) and isinstance(value, ast.Constant):
                            known[name.id] = value.value
    return known


def named_flags(node: ast.expr) -> bool:
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return name.strip("_").endswith("flags")


def places(tree: ast.Module) -> Iterator[ast.expr]:
    """Yield every expression that becomes one or several flags."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Attribute) and called.attr in ("append", "extend") and named_flags(called.value):
                yield from node.args
            yield from (keyword.value for keyword in node.keywords if keyword.arg == "flags")
            if isinstance(called, ast.Name) and called.id in RESULTS:
                yield from (argument for argument in node.args if isinstance(argument, ast.List))
        elif isinstance(node, ast.Dict):
            keys = [key.value if isinstance(key, ast.Constant) else None for key in node.keys]
            yield from (value for key, value in zip(keys, node.values, strict=True) if key == "flags")
        elif isinstance(node, (ast.Assign, ast.AnnAssign, ast.AugAssign)) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            if any(named_flags(target) for target in targets):
                yield node.value


def flags_in(node: ast.expr, tree: ast.Module, known: dict[str, str]) -> Iterator[str]:
    """Yield the flags that an expression can stand for; ``?`` and the source where that cannot be told."""
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.List(elts=parts) | ast.Tuple(elts=parts):
            for part in parts:
                yield from flags_in(part, tree, known)
        case ast.IfExp(body=one, orelse=other):
            yield from flags_in(one, tree, known)
            yield from flags_in(other, tree, known)
        case ast.Name(id=name) if name in known:
            yield known[name]
        case ast.Name(id=name) if (source := returned_to(name, tree)) is not None:
            yield from (each.value for each in ast.walk(source) if text_of_a_return(each, source))
        case ast.Starred(value=value) | ast.Call(func=ast.Name(id="list"), args=[value]):
            yield from flags_in(value, tree, known)
        case ast.ListComp(elt=ast.Name(id=one), generators=[part]) if one == ast.unparse(part.target):
            yield from flags_in(part.iter, tree, known)  # what it filters by sets no flag
        case ast.Call(func=ast.Name(id="field")) | ast.Dict(keys=[]):
            return
        case ast.Call(func=ast.Name(id=name), args=arguments) if (made_by := function_of(name, tree)) is not None:
            inside = [each for part in (made_by, *arguments) for each in ast.walk(part)]
            yield from (known[each.id] for each in inside if isinstance(each, ast.Name) and each.id in known)
        case _ if named_flags(node) or passes_flags_on(node):
            return
        case _:
            yield f"? {ast.unparse(node)}"


def passes_flags_on(node: ast.expr) -> bool:
    """Say whether an expression only hands on flags that were set elsewhere."""
    texts = [each for each in ast.walk(node) if isinstance(each, ast.Constant) and isinstance(each.value, str)]
    return not texts and any(named_flags(each) for each in ast.walk(node) if isinstance(each, ast.expr))


def function_of(name: str, tree: ast.Module) -> ast.FunctionDef | None:
    return next((node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == name), None)


def returned_to(name: str, tree: ast.Module) -> ast.FunctionDef | None:
    """Return the module's function whose result is unpacked into a local name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call) and isinstance(node.value.func, ast.Name):
            targets = [each.id for target in node.targets for each in ast.walk(target) if isinstance(each, ast.Name)]
            if name in targets:
                return function_of(node.value.func.id, tree)
    return None


def text_of_a_return(node: ast.AST, function: ast.FunctionDef) -> bool:
    returns = [each for each in ast.walk(function) if isinstance(each, ast.Return)]
    inside = any(node is each for one in returns for each in ast.walk(one))
    return inside and isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value != ""


def flags_set(modules: dict[Path, ast.Module]) -> set[str]:
    known = constants(modules)
    return {flag for tree in modules.values() for place in places(tree) for flag in flags_in(place, tree, known)}


def test_every_flag_that_is_set_has_words_and_every_word_is_set():
    flags = flags_set(trees())
    assert {flag for flag in flags if flag.startswith("?")} == set(), "name these flags as texts or constants"
    assert sorted(flags) == sorted(FLAG_WORDS)


@pytest.mark.parametrize(
    "source",
    [
        "def f(flags):\n    flags.append('made_up')",
        "MADE = 'made_up'\ndef f(hold):\n    hold.flags.append(MADE if hold else MADE)",
        "result = HoldResult(0.0, 1.0, 1.0, 0.1, flags=[*old.flags, 'made_up'])",
        "result = SessionResult(None, None, [], quality, ['made_up'])",
        "def g():\n    return None, 'made_up'\ndef f(flags):\n    x, why = g()\n    flags.append(why)",
        "flags = ['made_up']",
        "MADE = 'made_up'\ndef g(old, flag):\n    return [*old.flags, flag]\nflags = g(old, MADE)",
    ],
)
def test_a_flag_without_words_is_noticed(source):
    assert flags_set({Path("toy.py"): ast.parse(source)}) == {"made_up"}


def test_a_flag_that_cannot_be_told_is_noticed():
    (flag,) = flags_set({Path("toy.py"): ast.parse("flags.append(f'made_up_{number}')")})
    assert flag.startswith("?")


def test_every_flag_has_german_words():
    block = re.search(r"const flags = \{\n(.*?)\n\};", GERMAN.read_text("utf-8"), re.DOTALL)
    assert block is not None
    entries = dict(re.findall(r'^  "?([\w.]+)"?:\s*"([^"]+)",$', block[1], re.MULTILINE))
    assert sorted(entries) == sorted(FLAG_WORDS)


def test_a_flag_of_a_newer_version_is_shown_as_it_is():
    assert in_words("from_the_future") == "from_the_future"
    assert in_words("too_short") == FLAG_WORDS["too_short"]
