"""What a life has acknowledged before its end: lines in a file that the end of the process does not touch."""

from __future__ import annotations

import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any


class AckWriter:
    """Writes one line for each thing that was acknowledged, with the monotonic time of the machine."""

    def __init__(self, path: Path) -> None:
        self._handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def __call__(self, what: str, **more: Any) -> None:
        line = json.dumps({"what": what, "at_s": time.monotonic(), **more}) + "\n"
        os.write(self._handle, line.encode())


@dataclass(frozen=True)
class Acks:
    """Lines as they were written; the last one may be cut."""

    lines: list[dict[str, Any]]

    @classmethod
    def read(cls, path: Path) -> Acks:
        text = path.read_text() if path.exists() else ""
        return cls([json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n")])

    def of(self, what: str) -> list[dict[str, Any]]:
        return [line for line in self.lines if line["what"] == what]

    def last(self, what: str) -> dict[str, Any] | None:
        return next((line for line in reversed(self.lines) if line["what"] == what), None)
