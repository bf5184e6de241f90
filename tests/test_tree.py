"""The tree keeps its layout, the page fetches nothing from outside, every file is installed, links lead somewhere."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ALLOWED = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "firmware_bridge",
    "monitor",
    "tests",
    "hardware",
    "docs",
}
MADE_BY_TOOLS = {"build", "dist", "hang_monitor.egg-info", "__pycache__"}
ONLY_IN_THE_SOURCE_TREE = {Path("monitor/start.sh")}

# Names of XML vocabularies look like addresses and are never fetched.
VOCABULARIES = re.compile(r"http://www\.w3\.org/(?:2000/svg|1999/xlink|1999/xhtml|1998/Math/MathML)\b")
OUTSIDE = re.compile(r"\b(?:https?|wss?|ftp):\\?/\\?/|[\"'(=\s]//[\w-]+\.[\w.-]+/", flags=re.IGNORECASE)

MARKDOWN = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "hardware").rglob("*.md")])


def outside_addresses(text: str) -> list[str]:
    """Return what a browser would fetch from elsewhere, or may."""
    return [m[0] for m in OUTSIDE.finditer(VOCABULARIES.sub("", text))]


def anchors(text: str) -> set[str]:
    """Return the anchors of a Markdown text's headings, made as the common code hosts make them (from memory)."""
    result: set[str] = set()
    without_code = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    for heading in re.findall(r"^#+\s+(.*?)\s*#*$", without_code, flags=re.MULTILINE):
        shown = re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", heading)
        slug = re.sub(r"[^\w\- ]", "", shown.lower()).replace(" ", "-")
        number = 0
        while (name := f"{slug}-{number}" if number else slug) in result:
            number += 1
        result.add(name)
    return result


def links(text: str) -> Iterator[str]:
    """Yield the targets of a Markdown text's links and pictures, code left out."""
    without_code = re.sub(r"^```.*?^```|`[^`\n]*`", "", text, flags=re.DOTALL | re.MULTILINE)
    yield from re.findall(r"\]\(<?([^)>\s]+)>?(?:\s+\"[^\"]*\")?\)", without_code)
    yield from re.findall(r"^\[[^]]+\]:\s+(\S+)", without_code, flags=re.MULTILINE)


def broken_links(page: Path) -> list[str]:
    """Return the links of a page within the tree that lead nowhere."""
    text, broken = page.read_text(encoding="utf-8"), []
    for target in links(text):
        if re.match(r"[a-z][a-z0-9+.-]*:", target):
            continue
        path, _, anchor = target.partition("#")
        goal = (page.parent / path).resolve() if path else page
        if not goal.exists() or (anchor and anchor not in anchors(goal.read_text(encoding="utf-8"))):
            broken.append(target)
    return broken


def test_the_top_level_holds_the_agreed_entries_only() -> None:
    entries = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert entries - ALLOWED - MADE_BY_TOOLS == set()


def test_the_page_fetches_nothing_from_outside() -> None:
    dashboard = ROOT / "monitor" / "dashboard"
    static = [p for place in ("static", "markup") for p in (dashboard / place).rglob("*") if p.is_file()]
    assert static, "the page's files are gone"
    result = {}
    for path in static:
        if path.suffix in {".html", ".css", ".js", ".svg", ".json", ".webmanifest"} and (
            addresses := outside_addresses(path.read_text(encoding="utf-8"))
        ):
            result[path.name] = addresses
    assert result == {}


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ('<script src="https://cdn.example/x.js">', 1),
        ("@import url(//fonts.example/a.css);", 1),
        ('new WebSocket("wss://live.example/feed")', 1),
        ('<svg xmlns="http://www.w3.org/2000/svg">', 0),
        ("const half = 1 / 2; // a comment", 0),
        ('import { draw } from "./plot.js";', 0),
    ],
)
def test_the_check_for_outside_addresses_sees_what_it_should(text: str, count: int) -> None:
    assert len(outside_addresses(text)) == count


@pytest.mark.parametrize("package", ["firmware_bridge", "monitor"])
def test_every_file_that_is_no_module_is_installed_with_its_package(package: str) -> None:
    globs = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"][package]
    covered = {path for pattern in globs for path in (ROOT / package).glob(pattern)}
    others = {
        path
        for path in (ROOT / package).rglob("*")
        if path.is_file()
        and path.suffix not in {".py", ".pyc"}
        and path.relative_to(ROOT) not in ONLY_IN_THE_SOURCE_TREE
    }
    assert {str(path.relative_to(ROOT)) for path in others - covered} == set()
    hidden = {str(p.relative_to(ROOT)) for p in others if p.name.startswith(".")}
    assert hidden == set(), "hidden files are not installed"


@pytest.mark.parametrize("folder", ["dashboard/static", "store/database/migrations"])
def test_the_folders_of_data_are_installed_whole(folder: str) -> None:
    globs = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]["monitor"]
    covered = {path for pattern in globs for path in (ROOT / "monitor").glob(pattern)}
    files = {p for p in (ROOT / "monitor" / folder).rglob("*") if p.is_file() and "__pycache__" not in p.parts}
    assert files, f"monitor/{folder} is empty"
    assert files - covered == set()


@pytest.mark.parametrize("page", MARKDOWN, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_in_the_docs_lead_somewhere(page: Path) -> None:
    assert broken_links(page) == []


def test_a_broken_link_is_seen(tmp_path: Path) -> None:
    (tmp_path / "other.md").write_text("# The swing, and `theta0`\n")
    page = tmp_path / "page.md"
    page.write_text(
        "# Page\n[a](other.md) [b](other.md#the-swing-and-theta0) [c](#page) [d](gone.md) [e](other.md#gone)\n"
        "`[f](code.md)`\n```\n[g](code.md)\n```\n[h](mailto:someone)\n"
    )
    assert broken_links(page) == ["gone.md", "other.md#gone"]


def test_the_paths_that_the_developers_page_names_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:firmware_bridge|monitor|tests|docs|hardware|\.ci)/[\w./-]*)`", text)
    assert len(named) > 20, "the page lost its table of the layout"
    assert [name for name in named if not (ROOT / name).exists()] == []
