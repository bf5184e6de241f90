"""Typesets a report as PDF with our own template and the library's fonts; no network."""

from __future__ import annotations

import datetime as dt
import json
from importlib.resources import files
from types import ModuleType
from typing import Any, Literal

from monitor.errors import MonitorError


class TypesetterMissing(MonitorError):
    """The library that sets reports is not installed."""

    code = "typesetter-missing"


class ReportNotSet(MonitorError):
    """The typesetter rejected a report."""

    code = "report-not-set"


def typeset(data: dict[str, Any], made_at: dt.datetime, form: Literal["pdf", "png"] = "pdf") -> bytes:
    """Return a report as PDF, or its first page as PNG at 144 dots an inch; the same bytes for the same input.

    Parameters
    ----------
    data : dict
        As ``person_report.report_data`` gives it. Texts are shown as they are: nothing in them is read as markup.
    made_at : datetime
        Stands in the PDF's own description.
    form : "pdf" or "png"

    Raises
    ------
    TypesetterMissing, ReportNotSet
    """
    typst = _typesetter()
    source = files("monitor.reports").joinpath("report.typ").read_bytes()
    content = json.dumps(data, allow_nan=False, ensure_ascii=False)
    try:
        made = typst.compile(
            source,
            format=form,
            ppi=144.0 if form == "png" else None,
            sys_inputs={"data": content},
            timestamp=int(made_at.timestamp()),
            # The machine's own fonts would make the same report look different elsewhere; only other scripts use them.
            ignore_system_fonts=max(map(ord, content)) < _FIRST_NOT_BUNDLED,
        )
    except RuntimeError as error:
        raise ReportNotSet(
            what=f"The report could not be typeset: {str(error).strip()[:300]}.",
            means="No report was written; what is stored is untouched.",
            do="Try a shorter period. If it fails again, please report it as a bug.",
        ) from error
    return bytes(made[0] if isinstance(made, list) else made)


_FIRST_NOT_BUNDLED = 0x2E80
"""First code point without glyphs in the bundled fonts: East Asian scripts and emoji."""


def _typesetter() -> ModuleType:
    try:
        import typst
    except ImportError as error:
        raise TypesetterMissing(
            what="The library typst, which typesets reports, is not installed.",
            means="No report was written; everything else works without it.",
            do='Install it: .venv/bin/python -m pip install -c .ci/constraints.txt -e ".[report]"',
        ) from error
    return typst
