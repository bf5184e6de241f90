"""Every ``hang-monitor ...`` in the documents names a command that there is, with options that it has."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer

from monitor.cli.app import app

ROOT = Path(__file__).parents[1]
PAGES = sorted(
    [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md"), *(ROOT / "hardware").rglob("*.md")]
)
ROOT_COMMAND: Any = typer.main.get_command(app)
INLINE = re.compile(r"`(?:[./\w-]*/)?(hang-monitor\b[^`]*)`", re.DOTALL)
FENCED = re.compile(r"^```(?:sh|text)?\n(.*?)^```", re.DOTALL | re.MULTILINE)
LINE = re.compile(r"^(?:\$ )?(?:sudo )?(?:-u \S+ )?(?:[./\w-]*/)?(hang-monitor\b.*)$")


def commands_in(text: str) -> list[str]:
    """Return every command of a page, in order: those between backquotes and those in blocks, without remarks."""
    lines = [line.strip() for block in FENCED.findall(text) for line in block.replace("\\\n", " ").splitlines()]
    result = [re.sub(r"\s+#\s.*$", "", match.group(1)) for line in lines if (match := LINE.match(line))]
    plain = FENCED.sub("", text)
    return result + [" ".join(one.split()) for one in INLINE.findall(plain)]


def trouble(command: str) -> str | None:
    """Return what is wrong with a command as it is written, None when nothing is."""
    words = shlex.split(re.sub(r"[\[\]]|\\\|", " ", command.replace("`", "")), posix=True)[1:]
    here = ROOT_COMMAND
    options = {name for one in here.params for name in (*one.opts, *one.secondary_opts)} | {"--help"}
    while words and hasattr(here, "commands") and not words[0].startswith("-"):
        name = words.pop(0)
        if name not in here.commands:
            return None if set(name) <= {".", "…"} else f"{name!r} is no command of {here.name!r}"
        here = here.commands[name]
        options = {name for one in here.params for name in (*one.opts, *one.secondary_opts)} | {"--help"}
    for word in words:
        if word.startswith("--") and word.split("=")[0].rstrip(".,;") not in options:
            return f"{here.name!r} has no option {word!r}"
    return None


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_the_commands_of_the_documents_exist(page: Path) -> None:
    result = [f"{command}: {wrong}" for command in commands_in(page.read_text()) if (wrong := trouble(command))]
    assert result == []


def test_it_finds_the_commands_and_what_is_wrong_with_them() -> None:
    text = "Use `hang-monitor export --hold UID [--json]`.\n\n```sh\n.venv/bin/hang-monitor nothing  # a remark\n```\n"
    assert commands_in(text) == ["hang-monitor nothing", "hang-monitor export --hold UID [--json]"]
    assert trouble("hang-monitor export --hold UID [--json]") is None
    assert trouble("hang-monitor nothing") == "'nothing' is no command of 'hang-monitor'"
    assert "no option '--wrong'" in str(trouble("hang-monitor export --wrong 3"))


def test_the_documents_have_commands_at_all() -> None:
    assert sum(len(commands_in(page.read_text())) for page in PAGES) > 60
