"""``docs/accuracy.md``: what the accuracy check found, for people."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from tests.accuracy import plots
from tests.accuracy.comparison import RATE_RESOLVED_REL
from tests.accuracy.confidence import rate_bounds, share_bounds
from tests.accuracy.runs import Record
from tests.accuracy.summary import FALSE_ALARMS, Row, rows
from tests.physics.scenarios import SCENARIOS

MISSED = (
    "hold missed",
    "pull missed",
    "pull missed (swing)",
    "touch missed",
    "third support missed",
    "change of hands missed",
    "regrip missed",
    "bad cell not told",
    "peak not resolved",
    "loading rate not resolved",
)
OTHER_UNITS = {
    "live onset": "ms",
    "touch's peak": "%",
    "peak, not resolved": "%",
    "loading rate, not resolved": "%",
    "travel over u": "error / u",
    "swing beside pulls": "degrees",
    "swing withheld near pulls": "share",
    "state wrong (swing)": "% of time",
}
WORDS = {
    "aim": "aim reached",
    "floor": "floor held",
    "limit": "floor held, aim beyond the bound",
    "SHORT": "**falls short**",
    "": "",
}
WITHHELD = {
    "kind": "passive or active",
    "swing": "swing",
    "settle_s": "settling",
    "tremor_N": "tremor",
    "loading_N_s": "rate of loading",
    "misclosure": "misclosure",
    "lateral_m": "lateral offset",
    "stillness": "stillness",
}
"""Measures of a hold that are null where they cannot be known."""

STATED = {
    "regrips": "regrip",
    "grip_changes_s": "change of hands",
    "touches": "touch",
    "third_support": "third support",
    "travel": "pull or sinking",
}


def _number(x: float) -> str:
    """Return a number with three significant digits; an error that is none is a missing value."""
    if math.isinf(x):
        return "missing"
    return f"{x:.3g}" if abs(x) >= 1e-3 or x == 0 else f"{x:.1e}"


def _table(head: Iterable[str], body: Iterable[Iterable[str]]) -> list[str]:
    names = list(head)
    lines = ["| " + " | ".join(names) + " |", "| --- |" + " ---: |" * (len(names) - 1)]
    return [*lines, *("| " + " | ".join(cells) + " |" for cells in body), ""]


def _errors(some: list[Row]) -> list[str]:
    body = []
    for row in some:
        if row.measure in FALSE_ALARMS or row.measure in MISSED:
            continue
        finite = row.errors[np.isfinite(row.errors)]
        statements = [np.median(row.errors), np.quantile(row.errors, 0.95, method="higher"), row.errors.max()]
        unit = row.limit.unit if row.limit else OTHER_UNITS.get(row.measure, "")
        rms = math.sqrt(float(np.mean(np.square(finite)))) if len(finite) else math.inf
        best = ["" if x is None else _number(x) for x in (row.bound, row.ratio, row.at_best)]
        limits = [_number(row.limit.floor), _number(row.limit.aim)] if row.limit else ["", ""]
        cells = [row.measure, unit, str(len(row.errors)), *(_number(float(x)) for x in statements), _number(rms), *best]
        body.append([*cells, *limits, WORDS[row.verdict]])
    figures = ("median", "95 %", "largest", "rms", "bound", "rms / bound", "at best")
    head = ("measure", "unit", "cases", *figures, "floor", "aim", "")
    return _table(head, body)


def _deviations(some: list[Row]) -> list[str]:
    body = []
    for row in some:
        if row.measure not in MISSED:
            continue
        events, trials = int(row.errors.sum()), len(row.errors)
        low, high = share_bounds(events, trials)
        body.append(
            [row.measure, str(trials), str(events), f"{100 * low:.1f} % to {100 * high:.1f} %", WORDS[row.verdict]]
        )
    return _table(("measure", "cases", "missed", "share, 95 % confidence", ""), body)


def _alarms(some: list[Row]) -> list[str]:
    body = []
    for row in some:
        if row.measure not in FALSE_ALARMS:
            continue
        events, hours = int(row.errors.sum()), row.exposure_s / 3600
        holds = int(np.count_nonzero(row.errors))
        low, high = share_bounds(holds, len(row.errors))
        rate = rate_bounds(events, hours)
        shares = f"{100 * low:.1f} % to {100 * high:.1f} %"
        body.append([row.measure, f"{hours:.2f}", str(events), f"{rate[0]:.2g} to {rate[1]:.2g}", shares])
    return _table(("false alarm", "hours", "alarms", "an hour, 95 % confidence", "of all holds, 95 % confidence"), body)


def _cases(records: list[Record]) -> list[str]:
    body = []
    for name, make in SCENARIOS.items():
        own = [r for r in records if r.name == name]
        if not own:
            continue
        by = {row.measure: row for row in rows(own)}
        cells = [(make.__doc__ or name).strip().rstrip("."), str(len(own))]
        statements = ("onset", "release", "bodyweight", "assistance")
        cells += [_number(float(by[measure].errors.max())) if measure in by else "" for measure in statements]
        bad = [
            f"{m} ({int(by[m].errors.sum())})" for m in (*MISSED, *FALSE_ALARMS) if m in by and by[m].errors.sum() > 0
        ]
        body.append([*cells, ", ".join(bad) or "nothing"])
    head = (
        "what happens",
        "sessions",
        "onset, ms",
        "release, ms",
        "bodyweight, %",
        "assistance, points",
        "missed or invented",
    )
    return _table(head, body)


def _counted(names: Iterable[str], sessions: int) -> str:
    """Return names with in how many sessions they came, the most frequent first."""
    counts = Counter(names).most_common()
    return ", ".join(name if n == sessions else f"{name} ({n})" for name, n in counts) or "nothing"


def _said(records: list[Record]) -> list[str]:
    """Return what the tool told and withheld in each hard case."""
    body = []
    for name, make in SCENARIOS.items():
        own = [r for r in records if r.name == name and "hard" in r.truth["tags"]]
        if not own:
            continue
        flags, missing, kinds, events = list[str](), list[str](), list[str](), Counter[str]()
        for record in own:
            holds = record.result["holds"]
            flags += sorted({*record.result["flags"], *(flag for hold in holds for flag in hold["flags"])})
            missing += sorted({WITHHELD[key] for hold in holds for key in WITHHELD if _is_missing(hold[key])})
            kinds += [f"{hold['support']}, {hold['kind'] or 'kind unknown'}" for hold in holds]
            events.update({word: sum(len(hold[key]) for hold in holds) for key, word in STATED.items()})
        observed = ", ".join(f"{word} {n}" for word, n in events.items() if n) or "nothing"
        said = [_counted(kinds, len(own)) if kinds else "no hold", _counted((f"`{f}`" for f in flags), len(own))]
        title = (make.__doc__ or name).strip().rstrip(".")
        body.append([title, str(len(own)), *said, observed, _counted(missing, len(own))])
    return _table(("what happens", "sessions", "held to be", "flags", "events told, in all sessions", "withheld"), body)


def _is_missing(value: Any) -> bool:
    return value is None or (isinstance(value, dict) and "max_deg" in value and value["max_deg"] is None)


def _validity() -> list[str]:
    """Return the limits that the code enforces, read from the code itself."""
    from monitor.holds import edges, grip_changes, touches
    from monitor.measures import assistance, misclosure, peak, settling, swing, travel, tremor

    shortest, longest = min(travel.DURATIONS_s), max(travel.DURATIONS_s)
    body = [
        ["hold", f"settled level of at least {100 * edges.LEAST_FRACTION:.0f} % of bodyweight"],
        ["tug", f"less than {edges.TUG_S:g} s above the level"],
        ["regrip", f"a gap below {edges.BRIDGED_S:g} s"],
        ["swing", f"unassisted hangs; amplitudes from {swing.LEAST_DEG:g} degrees; windows of {swing.WINDOW_S:g} s"],
        ["swing's beat", f"{swing.BAND_Hz[0]:g} to {swing.BAND_Hz[1]:g} Hz"],
        [
            "travel",
            f"at least {travel.LEAST_mm:g} mm; movements of {shortest:.1f} to {longest:.1f} s",
        ],
        [
            "third support",
            f"at least {100 * misclosure.OPEN_FRACTION:g} % of bodyweight for {misclosure.SHORTEST_S:g} s",
        ],
        ["touch", f"at least {100 * touches.LEAST_FRACTION:g} % of bodyweight; only where the feet do not assist"],
        [
            "change of hands",
            f"one side carries {100 * grip_changes.ONE_SIDED:g} % of bodyweight more, before and after",
        ],
        ["peak, as resolved", f"a standard uncertainty of at most {100 * peak.RESOLVED_REL:g} %"],
        ["rate of loading, as resolved", f"a standard uncertainty of at most {100 * RATE_RESOLVED_REL:g} %"],
        ["unassisted", f"the feet take less than {100 * assistance.UNASSISTED_BELOW:g} % in the median"],
        ["tremor", f"{tremor.BAND_Hz[0]:g} to {tremor.BAND_Hz[1]:g} Hz"],
        [
            "settling",
            f"within {100 * settling.SETTLED_WITHIN:g} % of bodyweight, at most {settling.LONGEST_SETTLING_S:g} s",
        ],
    ]
    return _table(("measure", "is given only for"), body)


def unseen_section(records: list[Record]) -> list[str]:
    """Return what the same program finds on bodies that nothing was chosen by."""
    seeds, judged = [r.seed for r in records], [row for row in rows(records) if row.limit is not None]
    short = [
        f"{row.measure} ({places})"
        for row in judged
        if row.verdict == "SHORT"
        for places in [", ".join(f"{place} {_number(error)}" for error, place in row.places[:3] if error > 0)]
    ]
    body = []
    for row in judged:
        high = float(np.quantile(row.errors, 0.95, method="higher"))
        statements = [high, float(row.errors.max()), row.figure, row.limit.floor, row.limit.aim] if row.limit else []
        unit = row.limit.unit if row.limit else ""
        body.append([row.measure, unit, str(len(row.errors)), *(_number(x) for x in statements), WORDS[row.verdict]])
    return [
        "## Unseen bodies",
        "",
        f"{len(set(seeds))} other people (seeds {min(seeds)} to {max(seeds)}) through {len(records)} stays, ordinary "
        "ones and hard cases together. No number of the measurement was set by them, but faults that they showed were "
        "mended (decision 17): what the figures above owe to having been looked at shows here, as far as that goes.",
        "",
        "Falls short of its floor, with the sessions that are farthest off: " + ("; ".join(short) or "nothing") + ".",
        "",
        *_table(("measure", "unit", "cases", "95 %", "largest", "judged", "floor", "aim", ""), body),
    ]


def page(records: list[Record], bodies: int, unseen: list[Record] | None = None) -> str:
    """Return the page; ``unseen`` are stays of other bodies, told in a section of their own."""
    ordinary, hard = rows(records, hard=False), rows(records, hard=True)
    hours = sum(r.result["quality"]["samples"] for r in records) / 80 / 3600
    short = [row.measure for row in [*ordinary, *hard] if row.verdict == "SHORT"]
    heights = [r.truth["person"]["stature_m"] for r in records]
    masses = [r.truth["person"]["mass_kg"] for r in records]
    lines = [
        "# How well it measures",
        "",
        "This page is written by `python -m tests.accuracy --out docs --unseen 1000`; do not edit it by hand.",
        "",
        f"{bodies} invented people ({min(heights):.2f} to {max(heights):.2f} m, {min(masses):.0f} to "
        f"{max(masses):.0f} kg) are simulated by a rigid-body engine (MuJoCo) through {len(records)} stays on the rig, "
        f"{hours:.1f} hours in all. "
        "Their loads go through a model of the electronics (noise, span error, creep, drift, spikes, failed and lost "
        "readings), become raw counts, and the monitor gets nothing else: neither windows nor bodyweight nor zeros. "
        "Bodies, movements and truth are in `tests/physics`; they share nothing with the demo's body model. People are "
        "harder than simulations: these figures are the best that may be expected, not a promise.",
        "",
        "Falls short of its floor: " + (", ".join(dict.fromkeys(short)) if short else "nothing") + ".",
        "",
        "## Errors, ordinary sessions",
        "",
        "*Bound* is the smallest standard deviation that white noise and calibration leave to any estimator "
        "(Cramer-Rao or closed form, `tests/accuracy/bounds.py`), as root mean square over the same cases; it knows "
        "neither breathing nor tremor nor what a body does between readings, so a ratio of one is out of reach where "
        "these rule. *At best* is what the figure that is judged (the largest error, or the rms of travel) would be in "
        "half of all such runs if every error were as small as its bound: an aim below it is beyond any estimator.",
        "",
        *_errors(ordinary),
        "![Errors against floor and aim](images/accuracy_measures.svg)",
        "",
        "![Edges of holds](images/accuracy_edges.svg)",
        "",
        "![Swing](images/accuracy_swing.svg)",
        "",
        "![Travel](images/accuracy_travel.svg)",
        "",
        "## Found and missed, ordinary sessions",
        "",
        "Confidence: exact bounds of Clopper and Pearson for shares.",
        "",
        *_deviations(ordinary),
        "## False alarms, ordinary sessions",
        "",
        "Confidence: exact bounds of a Poisson rate, and of Clopper and Pearson for the share of holds with an alarm.",
        "",
        *_alarms(ordinary),
        "## Errors, hard cases",
        "",
        *_errors(hard),
        *_deviations(hard),
        *_alarms(hard),
        "## Case by case",
        "",
        "Largest error of all bodies that played the case.",
        "",
        *_cases(records),
        "## What it says in hard cases",
        "",
        "What the results of these sessions told: a flag, an event or a withheld measure came in every session unless "
        "its number stands beside it. `kind_unknown` and passive or active: cells see changes, not postures.",
        "",
        *_said(records),
        *(unseen_section(unseen) if unseen else []),
        "## Limits of validity that the code enforces",
        "",
        "Outside of these a value is absent, and a flag says why.",
        "",
        *_validity(),
    ]
    return "\n".join(lines).rstrip() + "\n"


def write_page(folder: Path, records: list[Record], bodies: int, unseen: list[Record] | None = None) -> None:
    """Write the page and its plots into a folder of documentation."""
    images = folder / "images"
    images.mkdir(parents=True, exist_ok=True)
    for name, svg in plots.all_plots(records).items():
        (images / f"accuracy_{name}.svg").write_bytes(svg)
    (folder / "accuracy.md").write_text(page(records, bodies, unseen), encoding="utf-8")
