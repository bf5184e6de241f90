"""A drawing sheet: ink lines, direct labels, dimensions in millimetres; the same bytes for the same drawing."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, TypedDict, Unpack
from xml.sax.saxutils import escape

INK, QUIET, HAIR, PAPER = "#1b1e23", "#5a5d62", "#8d8a80", "#ffffff"
HANDS, FEET, ATTENTION = "#0b4f8a", "#9a5200", "#bf3063"

HEAVY_mm, INK_mm, THIN_mm = 0.7, 0.35, 0.18
TITLE_mm, TEXT_mm, SMALL_mm = 5.0, 3.1, 2.6
LINE_STEP = 1.28
MARGIN_mm = 10.0
FOOT_mm = 14.0

DASH = {"solid": "", "hidden": "2 1", "axis": "5 1 0.8 1", "dotted": "0.5 1"}

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


class Stroke(TypedDict, total=False):
    """How a line is drawn."""

    weight_mm: float
    dash: str
    colour: str
    fill: str
    cap: str


def number(value: float) -> str:
    """Return a coordinate with at most two decimals."""
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


@dataclass
class Sheet:
    """One sheet of paper, measures in millimetres on paper, y downward.

    Parameters
    ----------
    name : str
        File name without ending; stands in the corner.
    title : str
    note : str
        One line below the title: what the sheet is for.
    foot : str
        Scale and tolerance.
    width_mm, height_mm : float
    """

    name: str
    title: str
    note: str
    foot: str
    width_mm: float = 297.0
    height_mm: float = 210.0
    parts: list[str] = field(default_factory=list)

    # Strokes

    def path(
        self,
        d: str,
        *,
        weight_mm: float = INK_mm,
        dash: str = "solid",
        colour: str = INK,
        fill: str = "none",
        cap: str = "round",
    ) -> None:
        """Draw a path given in SVG's own words."""
        dashed = f' stroke-dasharray="{DASH[dash]}"' if DASH[dash] else ""
        stroke = f'stroke="{colour}" stroke-width="{number(weight_mm)}"' if weight_mm else 'stroke="none"'
        self.parts.append(
            f'<path d="{d}" fill="{fill}" {stroke}{dashed} stroke-linecap="{cap}" stroke-linejoin="round"/>'
        )

    def line(self, *points: Point, **style: Unpack[Stroke]) -> None:
        """Draw straight lines from point to point."""
        d = "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points)
        self.path(d, **style)

    def curve(self, points: Sequence[Point], **style: Unpack[Stroke]) -> None:
        """Draw a smooth curve through points."""
        d = [f"M{number(points[0][0])} {number(points[0][1])}"]
        for i in range(len(points) - 1):
            before, a, b, after = points[max(i - 1, 0)], points[i], points[i + 1], points[min(i + 2, len(points) - 1)]
            one = (a[0] + (b[0] - before[0]) / 6, a[1] + (b[1] - before[1]) / 6)
            two = (b[0] - (after[0] - a[0]) / 6, b[1] - (after[1] - a[1]) / 6)
            d.append("C" + " ".join(f"{number(x)} {number(y)}" for x, y in (one, two, b)))
        self.path(" ".join(d), **style)

    def rect(self, x: float, y: float, w: float, h: float, *, round_mm: float = 0.0, **style: Unpack[Stroke]) -> None:
        """Draw a rectangle from its upper left corner."""
        r = min(round_mm, w / 2, h / 2)
        n = number
        if r:
            turn = f"A{n(r)} {n(r)} 0 0 1"
            d = (
                f"M{n(x + r)} {n(y)} H{n(x + w - r)} {turn} {n(x + w)} {n(y + r)} "
                f"V{n(y + h - r)} {turn} {n(x + w - r)} {n(y + h)} "
                f"H{n(x + r)} {turn} {n(x)} {n(y + h - r)} V{n(y + r)} {turn} {n(x + r)} {n(y)} Z"
            )
        else:
            d = f"M{n(x)} {n(y)} H{n(x + w)} V{n(y + h)} H{n(x)} Z"
        self.path(d, **style)

    def circle(self, x: float, y: float, r: float, **style: Unpack[Stroke]) -> None:
        """Draw a circle."""
        n = number
        d = f"M{n(x - r)} {n(y)} a{n(r)} {n(r)} 0 1 0 {n(2 * r)} 0 a{n(r)} {n(r)} 0 1 0 {n(-2 * r)} 0 Z"
        self.path(d, **style)

    def dot(self, x: float, y: float, colour: str = INK, r: float = 0.55) -> None:
        """Draw a joint of wires, or the end of a leader."""
        self.circle(x, y, r, fill=colour, weight_mm=0)

    def hatch(self, x: float, y: float, w: float, h: float, *, gap_mm: float = 2.0, colour: str = QUIET) -> None:
        """Fill a rectangle with strokes at 45 degrees: material that is cut."""
        step = gap_mm * math.sqrt(2)
        at = step - h
        while at < w:
            x1, x2 = max(at, 0.0), min(at + h, w)
            self.line((x + x1, y + h - (x1 - at)), (x + x2, y + h - (x2 - at)), weight_mm=THIN_mm, colour=colour)
            at += step

    def arrow(self, x: float, y: float, angle_deg: float, size_mm: float = 2.0, colour: str = INK) -> None:
        """Draw a filled arrow head whose tip is at the point; 0 degrees points right, 90 down."""
        a = math.radians(angle_deg)
        points = [(x, y), *((x + size_mm * math.cos(a + s), y + size_mm * math.sin(a + s)) for s in (2.8, -2.8))]
        d = "M" + " L".join(f"{number(px)} {number(py)}" for px, py in points) + " Z"
        self.path(d, fill=colour, weight_mm=0)

    # Words

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size_mm: float = TEXT_mm,
        anchor: Anchor = "start",
        colour: str = INK,
        bold: bool = False,
        turn_deg: float = 0.0,
    ) -> None:
        """Write lines of words; the first one's base line is at y. A white edge keeps them legible over lines."""
        turned = f' transform="rotate({number(turn_deg)} {number(x)} {number(y)})"' if turn_deg else ""
        weight = ' font-weight="bold"' if bold else ""
        spans = "".join(
            f'<tspan x="{number(x)}" y="{number(y + i * size_mm * LINE_STEP)}">{escape(line)}</tspan>'
            for i, line in enumerate(words.split("\n"))
        )
        self.parts.append(
            f'<text font-size="{number(size_mm)}" text-anchor="{anchor}" fill="{colour}"{weight}{turned} '
            f'paint-order="stroke" stroke="{PAPER}" stroke-width="0.9" stroke-linejoin="round">{spans}</text>'
        )

    def lead(
        self,
        at: Point,
        to: Point,
        words: str,
        *,
        anchor: Anchor | None = None,
        colour: str = INK,
        size_mm: float = TEXT_mm,
    ) -> None:
        """Name a thing: a dot on it, a thin line, words at the line's end (left or right of it)."""
        anchor = anchor or ("start" if to[0] >= at[0] else "end")
        self.line(at, to, weight_mm=THIN_mm, colour=colour)
        self.dot(*at, colour=colour, r=0.5)
        gap = 1.0 if anchor == "start" else -1.0
        self.text(to[0] + gap, to[1] + 0.35 * size_mm, words, anchor=anchor, colour=colour, size_mm=size_mm)

    def heading(self, x: float, y: float, words: str) -> None:
        """Write the name of a view."""
        self.text(x, y, words, bold=True, size_mm=3.4)

    def measure(
        self, a: Point, b: Point, label: str, *, off_mm: float, along: Literal["x", "y"], text_off_mm: float = 0.0
    ) -> None:
        """Draw a dimension between two points, along x or y, off by so much on paper (its sign is the side)."""
        size = SMALL_mm
        style: Stroke = {"weight_mm": THIN_mm, "colour": INK}
        if along == "x":
            level = (max(a[1], b[1]) if off_mm > 0 else min(a[1], b[1])) + off_mm
            p, q = (a[0], level), (b[0], level)
        else:
            level = (max(a[0], b[0]) if off_mm > 0 else min(a[0], b[0])) + off_mm
            p, q = (level, a[1]), (level, b[1])
        over = math.copysign(1.2, off_mm)
        for start, end in ((a, p), (b, q)):
            beyond = (end[0], end[1] + over) if along == "x" else (end[0] + over, end[1])
            near = math.copysign(0.8, off_mm)
            begin = (start[0], start[1] + near) if along == "x" else (start[0] + near, start[1])
            self.line(begin, beyond, **style)
        self.line(p, q, **style)
        for x, y in (p, q):
            self.line((x - 0.8, y + 0.8), (x + 0.8, y - 0.8), weight_mm=INK_mm)
        mid = ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2)
        if along == "x":
            self.text(mid[0] + text_off_mm, mid[1] - 0.9, label, anchor="middle", size_mm=size)
        else:
            self.text(mid[0] - 0.9, mid[1] + text_off_mm, label, anchor="middle", size_mm=size, turn_deg=-90)

    def steps(self, x: float, y: float, steps: Sequence[str], *, columns: int, size_mm: float = SMALL_mm) -> float:
        """Write numbered steps, wrapped after so many letters; return the y below them."""
        for count, step in enumerate(steps, start=1):
            lines = textwrap.wrap(step, columns)
            self.text(x, y, str(count), size_mm=size_mm, bold=True)
            self.text(x + 4.5, y, "\n".join(lines), size_mm=size_mm)
            y += size_mm * (LINE_STEP * len(lines) + 0.35)
        return y

    def table(self, x: float, y: float, widths_mm: Sequence[float], rows: Sequence[Sequence[str]]) -> float:
        """Write a table with a line below its head; return the y below it."""
        step = SMALL_mm * 1.65
        for number_, row in enumerate(rows):
            left = x
            for width, cell in zip(widths_mm, row, strict=True):
                self.text(left, y + step * number_, cell, size_mm=SMALL_mm, bold=number_ == 0)
                left += width
        self.line((x, y + 0.35 * step), (x + sum(widths_mm), y + 0.35 * step), weight_mm=THIN_mm)
        return y + step * len(rows)

    # The whole

    def svg(self) -> str:
        """Return the sheet as SVG."""
        w, h, n = self.width_mm, self.height_mm, number
        body, self.parts = self.parts, []
        m = MARGIN_mm
        self.text(m, m + TITLE_mm, self.title, size_mm=TITLE_mm, bold=True)
        self.text(m, m + TITLE_mm + 5.2, self.note, colour=QUIET)
        self.line((m, h - FOOT_mm), (w - m, h - FOOT_mm), weight_mm=INK_mm)
        self.text(m, h - FOOT_mm + 4.4, self.foot, size_mm=SMALL_mm, colour=QUIET)
        self.text(w - m, h - FOOT_mm + 4.4, self.name, size_mm=SMALL_mm, colour=QUIET, anchor="end")
        frame, self.parts = self.parts, body
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(w)}mm" height="{n(h)}mm" '
                f'viewBox="0 0 {n(w)} {n(h)}" role="img" aria-labelledby="title" '
                "font-family=\"'Liberation Sans', 'Noto Sans', Arial, sans-serif\">",
                f'<title id="title">{escape(self.title)}</title>',
                f"<desc>{escape(self.note)}</desc>",
                f'<rect width="{n(w)}" height="{n(h)}" fill="{PAPER}"/>',
                *body,
                *frame,
                "</svg>",
                "",
            ]
        )


@dataclass(frozen=True)
class View:
    """A view at a scale: measures of the thing in millimetres, its origin somewhere on the sheet.

    Parameters
    ----------
    sheet : Sheet
    x_mm, y_mm : float
        Where the thing's origin lies on paper.
    scale : float
        0.1 is one to ten.
    """

    sheet: Sheet
    x_mm: float
    y_mm: float
    scale: float

    def at(self, x: float, y: float) -> Point:
        """Return where a point of the thing lies on paper."""
        return self.x_mm + x * self.scale, self.y_mm + y * self.scale

    def line(self, *points: Point, **style: Unpack[Stroke]) -> None:
        """Draw straight lines."""
        self.sheet.line(*(self.at(*p) for p in points), **style)

    def curve(self, points: Sequence[Point], **style: Unpack[Stroke]) -> None:
        """Draw a smooth curve."""
        self.sheet.curve([self.at(*p) for p in points], **style)

    def rect(self, x: float, y: float, w: float, h: float, *, round_mm: float = 0.0, **style: Unpack[Stroke]) -> None:
        """Draw a rectangle."""
        s = self.scale
        self.sheet.rect(*self.at(x, y), w * s, h * s, round_mm=round_mm * s, **style)

    def circle(self, x: float, y: float, r: float, **style: Unpack[Stroke]) -> None:
        """Draw a circle."""
        self.sheet.circle(*self.at(x, y), r * self.scale, **style)

    def hatch(self, x: float, y: float, w: float, h: float, *, gap_mm: float = 2.0, colour: str = QUIET) -> None:
        """Hatch a rectangle; the gap is that on paper."""
        self.sheet.hatch(*self.at(x, y), w * self.scale, h * self.scale, gap_mm=gap_mm, colour=colour)

    def lead(
        self,
        at: Point,
        to_paper: Point,
        words: str,
        *,
        anchor: Anchor | None = None,
        colour: str = INK,
        size_mm: float = TEXT_mm,
    ) -> None:
        """Name a point of the thing; the words stand at a place on paper relative to it."""
        x, y = self.at(*at)
        to = (x + to_paper[0], y + to_paper[1])
        self.sheet.lead((x, y), to, words, anchor=anchor, colour=colour, size_mm=size_mm)

    def measure(
        self, a: Point, b: Point, label: str, *, off_mm: float, along: Literal["x", "y"], text_off_mm: float = 0.0
    ) -> None:
        """Draw a dimension."""
        self.sheet.measure(self.at(*a), self.at(*b), label, off_mm=off_mm, along=along, text_off_mm=text_off_mm)
