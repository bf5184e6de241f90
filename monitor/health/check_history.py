"""Saved checks: one JSON and one HTML file each, dated, never overwritten."""

from __future__ import annotations

import datetime as dt
import json
import os
from pathlib import Path
from typing import Any

from monitor.errors import MonitorError
from monitor.health.check_page import check_page

FOLDER = "checks"
SHOWN = 12
"""Earlier checks that the page of a new one lists (common practice, no source)."""


class CheckNotSaved(MonitorError):
    """The result of a check cannot be written."""

    code = "check-not-kept"


def read_check(root: Path, name: str) -> dict[str, Any] | None:
    """Return a saved check by its file's name, None where there is none that can be read."""
    try:
        report = json.loads((root / FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    whole = isinstance(report, dict) and isinstance(report.get("verdicts"), list) and "outcome" in report
    return report if whole and all(isinstance(one, dict) for one in report["verdicts"]) else None


def newest_check(root: Path) -> dict[str, Any] | None:
    """Return the newest check that can be read, None where there is none."""
    names = sorted((path.stem for path in (root / FOLDER).glob("*.json")), reverse=True)
    return next((report for name in names if (report := read_check(root, name)) is not None), None)


def saved_checks(root: Path) -> list[dict[str, Any]]:
    """Return the checks saved in a data folder, the newest first; files that cannot be read are left out."""
    names = sorted((path.stem for path in (root / FOLDER).glob("*.json")), reverse=True)
    return [report for name in names if (report := read_check(root, name)) is not None]


def save_check(root: Path, report: dict[str, Any], now: dt.datetime) -> tuple[Path, Path]:
    """Write a report beside the earlier ones; return the paths of its JSON and its page.

    Raises
    ------
    CheckNotSaved
        Disk full, no permission, or a check of the same second.
    """
    stamp = now.astimezone(dt.UTC).strftime("%Y-%m-%dT%H%M%SZ")
    data, page = root / FOLDER / f"{stamp}.json", root / FOLDER / f"{stamp}.html"
    try:
        (root / FOLDER).mkdir(parents=True, exist_ok=True, mode=0o700)
        earlier = saved_checks(root)[:SHOWN]
        _write(data, json.dumps(report, allow_nan=False, indent=1) + "\n")
        _write(page, check_page(report, earlier))
    except OSError as error:
        raise CheckNotSaved(
            what=f"The check could not be written to {data.parent}: {error.strerror or error}.",
            means="Its result stands on the screen only; the rig's history is as it was.",
            do="Free some space or fix the folder's permissions, then check again.",
        ) from error
    return data, page


def _write(path: Path, text: str) -> None:
    """Write a new file that only its owner may read, down to the disk."""
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
