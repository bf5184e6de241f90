"""Text files that commands read, and lines and JSON that they write."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path
from typing import Any

from monitor.errors import BadInput


def read_text(path: Path) -> str:
    """Return a file's text.

    Raises
    ------
    BadInput
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise BadInput(
            what=f"{path} cannot be read: {why}.", means="Nothing was changed.", do="Give the path of a text file."
        ) from error


def write_json(value: Any) -> None:
    """Write a dataclass or plain data as one JSON object."""
    data = dataclasses.asdict(value) if dataclasses.is_dataclass(value) and not isinstance(value, type) else value
    sys.stdout.write(json.dumps(data, allow_nan=False, ensure_ascii=False, indent=2, default=str) + "\n")


def write(text: str) -> None:
    """Write lines for people."""
    sys.stdout.write(text.rstrip("\n") + "\n")
