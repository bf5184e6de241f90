"""A screen's HTML: what is its own, in the frame that it shares with others; see ``markup``.

In the files ``$name`` stands for a piece. Pieces are files of the program, never anything that somebody has typed.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path
from string import Template

MARKUP = Path(__file__).parents[1] / "markup"
PIECES = ("notice", "charts", "tasks")
"""What a kind of the live page may add to it, in files named after both."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What distinguishes one screen from the others.

    Attributes
    ----------
    part : str
        File of its own part.
    script : str
        Module that fills it: its path in ``static``, without the ending.
    styles : tuple of str
        Style sheets in ``static/css``, beside ``page.css``.
    frame : str or None
        File of the frame around the part; None where the part is the whole body.
    kind : str
        Which of the screens that have this part in common.
    pieces : tuple of str
        Which of ``PIECES`` this kind adds.
    """

    part: str
    script: str
    styles: tuple[str, ...] = ("sheet",)
    frame: str | None = "sheet"
    kind: str = ""
    pieces: tuple[str, ...] = ()

    def html(self) -> str:
        """Return the whole document."""
        own = {name: _piece(f"{self.kind}-{name}") if name in self.pieces else "" for name in PIECES}
        body = Template(_piece(self.part)).substitute(own, kind=self.kind)
        if self.frame is not None:
            body = Template(_piece(self.frame)).substitute(part=body)
        styles = "\n".join(f'<link rel="stylesheet" href="/static/css/{name}.css">' for name in ("page", *self.styles))
        return Template(_piece("frame")).substitute(styles=styles, script=self.script, body=body)


NOT_FOUND = Screen("not-found", "site/not-found")
"""For an address without a page."""


@functools.cache
def _piece(name: str) -> str:
    return (MARKUP / f"{name}.html").read_text("utf-8").rstrip("\n")
