"""The result of a check as one page of HTML: nothing from outside, legible when it is printed without colours."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

MARKS = {"good": "✓", "doubtful": "?", "bad": "✗", "not_told": "–"}
WORDS = {"good": "good", "doubtful": "doubtful", "bad": "to be mended", "not_told": "unknown"}
SUMMARY = {
    "good": "The rig is in order.",
    "doubtful": "The rig can be used; something wants a look.",
    "bad": "Something has to be mended before anybody hangs.",
    "not_told": "The check is not complete.",
}

_STYLE = """
body { font: 16px/1.45 Georgia, "Times New Roman", serif; max-width: 52em; margin: 2em auto; padding: 0 1em;
  color: #111; background: #fff; }
h1 { font-size: 1.5em; margin-bottom: 0; }
h2 { font-size: 1.15em; margin-top: 2em; }
.sum { font-size: 1.2em; border: 2px solid #111; padding: .5em .8em; margin: 1em 0; }
table { border-collapse: collapse; width: 100%; }
td, th { text-align: left; vertical-align: top; padding: .35em .6em; border-bottom: 1px solid #999; }
.mark { font-weight: bold; white-space: nowrap; }
tr.bad td:first-child { border-left: 6px solid #111; }
tr.doubtful td:first-child { border-left: 6px double #111; }
.do { font-style: italic; }
.small { font-size: .85em; color: #333; }
svg { max-width: 100%; height: auto; }
@media print { body { margin: 0; } h2 { break-after: avoid; } tr, svg { break-inside: avoid; } }
"""

_DASHES = ("", "7 3", "2 3", "9 3 2 3", "12 4", "1 2", "5 2 1 2", "3 6")


def check_page(report: Mapping[str, Any], history: Sequence[Mapping[str, Any]] = ()) -> str:
    """Return the page of a check's report; ``history`` holds earlier reports, the newest first."""
    outcome = str(report["outcome"])
    rig, at = escape(str(report["rig"])), escape(str(report["at"]))
    calibration = escape(str(report["calibration"] or "none yet"))
    demo = "<p><strong>Demonstration: an invented rig, no real measurement.</strong></p>" if report["invented"] else ""
    return "".join(
        [
            "<!doctype html><html lang='en'><head><meta charset='utf-8'>",
            "<meta name='viewport' content='width=device-width, initial-scale=1'>",
            f"<title>Check of {rig}, {at}</title><style>{_STYLE}</style></head><body>",
            f"<h1>Check of {rig}</h1><p class='small'>{at}, calibration {calibration}, ",
            f"heaviest person {report['heaviest_kg']:g} kg</p>{demo}",
            f"<p class='sum'>{MARKS[outcome]} {SUMMARY[outcome]}</p>",
            "<table><thead><tr><th></th><th>What</th><th>Found</th></tr></thead><tbody>",
            "".join(_row(verdict) for verdict in report["verdicts"]),
            "</tbody></table>",
            _zero(report.get("zero_proposal")),
            _allan(report.get("allan_N") or {}),
            _history(history),
            "<p class='small'>The check looks at what the cells and the board can show. It rates no beam, no anchor ",
            "and no sling: that is the affair of a qualified person, and of the eye before every training.</p>",
            "</body></html>",
        ]
    )


def _row(verdict: Mapping[str, Any]) -> str:
    outcome = str(verdict["outcome"])
    do = f"<br><span class='do'>{escape(str(verdict['do']))}</span>" if verdict["do"] else ""
    return (
        f"<tr class='{outcome}'><td class='mark'>{MARKS[outcome]} {WORDS[outcome]}</td>"
        f"<td>{escape(str(verdict['title']))}</td><td>{escape(str(verdict['words']))}{do}</td></tr>"
    )


def _zero(proposal: Mapping[str, Mapping[str, float]] | None) -> str:
    if not proposal:
        return ""
    rows = "".join(
        f"<tr><td>{escape(name)}</td><td>{zero['shift_N']:+.2f} N</td>"
        f"<td>{zero['zero_counts']:.0f} ± {zero['u_zero_counts']:.1f} counts</td></tr>"
        for name, zero in proposal.items()
    )
    return (
        "<h2>A new zero, proposed</h2><p>The rig was empty and still. Nothing was changed; <code>hang-monitor zero"
        "</code> takes a zero when you say so.</p><table><thead><tr><th>Cell</th><th>Moved since its last zero</th>"
        f"<th>Zero</th></tr></thead><tbody>{rows}</tbody></table>"
    )


def _history(history: Sequence[Mapping[str, Any]]) -> str:
    if not history:
        return ""
    rows = []
    for report in history:
        bad = "; ".join(str(v["title"]) for v in report["verdicts"] if v["outcome"] == "bad")
        outcome = str(report["outcome"])
        mark = f"<td class='mark'>{MARKS[outcome]} {WORDS[outcome]}</td>"
        rows.append(f"<tr><td>{escape(str(report['at']))}</td>{mark}<td>{escape(bad)}</td></tr>")
    head = "<h2>Earlier checks</h2><table><thead><tr><th>When</th><th></th><th>To be mended</th></tr></thead><tbody>"
    return f"{head}{''.join(rows)}</tbody></table>"


WIDTH, HEIGHT, LEFT, BOTTOM, RIGHT, TOP = 760.0, 380.0, 70.0, 50.0, 130.0, 15.0


def _allan(curves: Mapping[str, Sequence[Sequence[float]]]) -> str:
    """Return the Allan deviations as a drawing: both axes logarithmic, each line with its own dashes and name."""
    points = [(t, d) for curve in curves.values() for t, d in curve if t > 0 and d > 0]
    if len(points) < 2:
        return ""
    t_low, t_high = (f(math.log10(t) for t, _ in points) for f in (min, max))
    d_low, d_high = math.floor(min(math.log10(d) for _, d in points)), math.ceil(max(math.log10(d) for _, d in points))
    d_high = max(d_high, d_low + 1)
    edge, floor = WIDTH - RIGHT, HEIGHT - BOTTOM

    def x(t: float) -> float:
        return LEFT + (math.log10(t) - t_low) / max(1e-9, t_high - t_low) * (edge - LEFT)

    def y(d: float) -> float:
        return TOP + (d_high - math.log10(d)) / (d_high - d_low) * (floor - TOP)

    drawn = []
    for power in range(d_low, d_high + 1):
        at = y(10.0**power)
        drawn.append(f"<line x1='{LEFT}' x2='{edge}' y1='{at:.1f}' y2='{at:.1f}' stroke='#bbb'/>")
        drawn.append(f"<text x='{LEFT - 8}' y='{at + 5:.1f}' text-anchor='end'>{10.0**power:g}</text>")
    for power in range(math.ceil(t_low), math.floor(t_high) + 1):
        at = x(10.0**power)
        drawn.append(f"<line x1='{at:.1f}' x2='{at:.1f}' y1='{TOP}' y2='{floor}' stroke='#bbb'/>")
        drawn.append(f"<text x='{at:.1f}' y='{floor + 20}' text-anchor='middle'>{10.0**power:g}</text>")
    for number, (name, curve) in enumerate(curves.items()):
        line = " ".join(f"{x(t):.1f},{y(d):.1f}" for t, d in curve if t > 0 and d > 0)
        dashes = f"fill='none' stroke='#111' stroke-width='1.6' stroke-dasharray='{_DASHES[number % len(_DASHES)]}'"
        at = TOP + 14 + 22 * number
        drawn.append(f"<polyline points='{line}' {dashes}/>")
        drawn.append(f"<line x1='{edge + 8}' x2='{edge + 38}' y1='{at}' y2='{at}' {dashes}/>")
        drawn.append(f"<text x='{edge + 43}' y='{at + 5}'>{escape(name)}</text>")
    drawn.append(f"<text x='{(LEFT + edge) / 2}' y='{HEIGHT - 8}' text-anchor='middle'>averaging time, s</text>")
    turned = f"transform='rotate(-90)' x='{-(TOP + floor) / 2}' y='16' text-anchor='middle'"
    drawn.append(f"<text {turned}>Allan deviation, N</text>")
    return (
        "<h2>Noise and drift of the empty rig</h2>"
        f"<svg role='img' aria-label='Allan deviation of each cell' viewBox='0 0 {WIDTH:g} {HEIGHT:g}' "
        f"font-family='Georgia, serif' font-size='14'>{''.join(drawn)}</svg><p class='small'>"
        "Falling: averaging helps. Level or rising: the reading wanders, and longer averages are no better.</p>"
    )
