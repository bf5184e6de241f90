"""Sheets of what hangs: the bar on two hangers, the rings, and one load path part by part."""

from __future__ import annotations

from math import cos, sin

from hardware.drawings.feet import (
    BASE_high_mm,
    BASE_x_mm,
    BASE_y_mm,
    BOARD_x_mm,
    BOARD_y_mm,
    CELL_x_mm,
    CELL_y_mm,
    FOOT_high_mm,
    GRIP_top_mm,
)
from hardware.drawings.sheet import (
    ATTENTION,
    FEET,
    HANDS,
    INK,
    PAPER,
    QUIET,
    HEAVY_mm,
    INK_mm,
    Sheet,
    SMALL_mm,
    THIN_mm,
    View,
)

BEAM_mm, BAR_mm, RING_mm, GAP_mm = -2600.0, -2150.0, -1950.0, 550.0
"""Underside of the beam, axis of the bar, lowest point of the rings, half the hangers' distance; upward negative."""
PLATFORM_mm = -(GRIP_top_mm + FOOT_high_mm)
"""The platform's grip."""
FREE_mm = 1150.0
"""Nothing stands nearer to the bar or to a ring."""
REACH = "reach with the feet flat on the platform, + 0 to 50"


def cell(view: View, x: float, y: float, w: float, h: float) -> None:
    """Draw a tension cell: a body with the two slots that make it an S."""
    view.rect(x - w / 2, y - h / 2, w, h, round_mm=w / 12, fill=PAPER, weight_mm=HEAVY_mm)
    slot = 0.18 * h
    view.line((x - w / 2, y - slot), (x + 0.18 * w, y - slot), weight_mm=INK_mm)
    view.line((x + w / 2, y + slot), (x - 0.18 * w, y + slot), weight_mm=INK_mm)


def figure(view: View, bar_y: float, hands_x: float, *, feet_y: float) -> None:
    """Draw a hanging person as a plumb line with arms, shoulders and a bob."""
    shoulder = bar_y + 560
    for side in (-1, 1):
        view.line((side * hands_x, bar_y + 20), (side * 190, shoulder), colour=QUIET)
        view.line((side * 70, bar_y + 1080), (side * 80, feet_y), colour=QUIET)
    view.line((-190, shoulder), (190, shoulder), colour=QUIET)
    view.line((0, shoulder), (0, bar_y + 1080), colour=QUIET)
    view.line((-70, bar_y + 1080), (70, bar_y + 1080), colour=QUIET)
    view.circle(0, shoulder - 150, 105, colour=QUIET, fill=PAPER)
    view.circle(0, bar_y + 1020, 34, fill=INK, weight_mm=0)


def platform(view: View, *, from_the_right: bool = False) -> None:
    """Draw the platform from behind or from the right."""
    wide, deep, top = (BASE_y_mm, BOARD_y_mm, CELL_y_mm) if from_the_right else (BASE_x_mm, BOARD_x_mm, CELL_x_mm)
    view.rect(-wide / 2, -44, wide, BASE_high_mm, weight_mm=INK_mm, fill=PAPER)
    view.rect(-deep / 2, PLATFORM_mm, deep, 24, weight_mm=HEAVY_mm, fill=PAPER, colour=FEET)
    for side in (-1, 1):
        view.rect(side * top - 30, PLATFORM_mm + 24, 60, -PLATFORM_mm - 68, weight_mm=INK_mm, fill=PAPER)
        view.rect(side * (wide / 2 - 25) - 20, -FOOT_high_mm, 40, FOOT_high_mm, weight_mm=THIN_mm, fill=PAPER)


def building(view: View, half: float) -> None:
    """Draw the beam above and the floor below."""
    view.rect(-half, BEAM_mm - 140, 2 * half, 140, weight_mm=HEAVY_mm)
    view.hatch(-half, BEAM_mm - 140, 2 * half, 140)
    view.line((-half, 0), (half, 0), weight_mm=HEAVY_mm)
    view.hatch(-half, 0, 2 * half, 60)


def axis_x(view: View) -> None:
    """Draw which way x runs."""
    view.line((-1080, -300), (-830, -300), weight_mm=INK_mm)
    view.sheet.arrow(*view.at(-830, -300), 0)
    view.sheet.text(*view.at(-1080, -230), "right (+ x)", size_mm=SMALL_mm)


def hanger(view: View, x: float, *, lowest: float, sling_side: float) -> None:
    """Draw one load path in little: anchor, cell, strap, and the sling past them."""
    view.line((x, BEAM_mm), (x, BEAM_mm + 60), weight_mm=HEAVY_mm)
    cell(view, x, BEAM_mm + 110, 70, 100)
    view.line((x, BEAM_mm + 160), (x, lowest), weight_mm=HEAVY_mm)
    s = sling_side
    view.curve(
        [(x + s * 30, BEAM_mm), (x + s * 95, BEAM_mm + 130), (x + s * 75, lowest - 90), (x + s * 12, lowest)],
        colour=ATTENTION,
        dash="hidden",
        weight_mm=0.5,
    )


def cable(view: View, x: float, box_x: float, box_y: float) -> None:
    """Draw a cable from a cell up to the beam, along it and down to the box, with its loop."""
    view.curve(
        [(x + 35, BEAM_mm + 110), (x + 130, BEAM_mm + 135), (x + 170, BEAM_mm + 70), (x + 150, BEAM_mm + 10)],
        weight_mm=0.25,
    )
    view.line((x + 150, BEAM_mm + 10), (box_x, BEAM_mm + 10), weight_mm=0.25)
    view.line((box_x, BEAM_mm + 10), (box_x, box_y), weight_mm=0.25)


def hangers() -> Sheet:
    """Return the overview of the bar on two hangers."""
    sheet = Sheet(
        "hangers",
        "Bar on two hangers",
        "Overview for build A: where the load goes, where the cells sit, what has to stay free around a person.",
        "Scale 1:20. Dimensions in mm. Distances of the hangers ± 2, all others ± 10 unless stated. "
        "Anchor and beam: shown by a qualified person.",
    )
    view = View(sheet, 107, 184, 0.05)
    building(view, 1150)
    platform(view)
    figure(view, BAR_mm, 260, feet_y=PLATFORM_mm - 5)
    view.rect(-700, BAR_mm - 16, 1400, 32, fill=HANDS, colour=HANDS, round_mm=16)
    for side in (-1, 1):
        hanger(view, side * GAP_mm, lowest=BAR_mm - 16, sling_side=side)
    box_x, box_y = 1060.0, -1500.0
    cable(view, GAP_mm, box_x, box_y)
    cable(view, -GAP_mm, box_x, box_y)
    view.line((250, -40), (box_x, -40), weight_mm=0.25)
    view.line((box_x, -40), (box_x, box_y), weight_mm=0.25)
    view.rect(box_x - 70, box_y - 110, 140, 220, weight_mm=HEAVY_mm, fill=PAPER)
    sheet.heading(49.5, 35, "from behind")
    view.measure((-GAP_mm, BAR_mm), (GAP_mm, BAR_mm), "1100", off_mm=8.5, along="x")
    view.measure((-700, BAR_mm), (-GAP_mm, BAR_mm), "150", off_mm=8.5, along="x")
    view.measure((-1150, BEAM_mm), (-1150, BAR_mm), "450 or more", off_mm=-12, along="y")
    view.measure(
        (-1150, BAR_mm),
        (-1150, PLATFORM_mm),
        REACH,
        off_mm=-12,
        along="y",
    )
    view.lead((-GAP_mm, BEAM_mm + 30), (-17, 3), "L1 anchor", size_mm=SMALL_mm)
    view.lead((-GAP_mm - 35, BEAM_mm + 110), (-15.5, 3.5), "L3 cell", size_mm=SMALL_mm)
    view.lead((-GAP_mm - 80, BEAM_mm + 260), (-13, 3), "L9 safety sling", size_mm=SMALL_mm, colour=ATTENTION)
    view.lead((-GAP_mm, BAR_mm - 120), (14, -4), "L6 hanger", size_mm=SMALL_mm)
    view.lead((500, BAR_mm), (5, 16), "L7 bar", size_mm=SMALL_mm, colour=HANDS)
    view.lead((265, PLATFORM_mm + 10), (9, -7), "P1 platform,\nbuild C", size_mm=SMALL_mm, colour=FEET)
    view.lead((box_x - 70, box_y), (-6, 8), "E4 box, out of\nreach of the fall", size_mm=SMALL_mm)
    axis_x(view)
    view.lead((0, BAR_mm + 1020), (-11, 6), "centre of mass", size_mm=SMALL_mm, colour=QUIET)

    across = View(sheet, 229, 184, 0.05)
    building(across, 1150)
    platform(across, from_the_right=True)
    cell(across, 0, BEAM_mm + 110, 26, 100)
    across.line((0, BEAM_mm), (0, BEAM_mm + 60), weight_mm=HEAVY_mm)
    across.line((0, BEAM_mm + 160), (0, BAR_mm), weight_mm=HEAVY_mm)
    across.circle(0, BAR_mm, 16, fill=HANDS, colour=HANDS)
    length = 2000.0
    for angle, dash in ((0.0, "solid"), (0.349, "axis"), (-0.349, "axis")):
        tip = (length * sin(angle), BAR_mm + length * cos(angle))
        across.line((0, BAR_mm), tip, colour=QUIET, dash=dash, weight_mm=THIN_mm if angle else INK_mm)
        bob = (1020 * sin(angle), BAR_mm + 1020 * cos(angle))
        across.circle(*bob, 34, fill=INK if not angle else PAPER, weight_mm=INK_mm if angle else 0)
    sheet.heading(171.5, 35, "from the right")
    edge = BASE_y_mm / 2
    across.measure((-FREE_mm, 0), (-edge, 0), f"free: {FREE_mm - edge:.0f}", off_mm=-9, along="x")
    across.measure((edge, 0), (FREE_mm, 0), f"free: {FREE_mm - edge:.0f}", off_mm=-9, along="x")
    across.lead((350, BAR_mm + 958), (6, -10), "swing of 20 degrees:\nup to 1.10 of bodyweight", size_mm=SMALL_mm)
    across.lead(
        (0, BAR_mm),
        (13, -2),
        f"bar 30 to 34 thick,\nnothing within {FREE_mm:.0f} before\nand behind it",
        size_mm=SMALL_mm,
    )
    across.line((900, -1000), (1150, -1000), weight_mm=INK_mm)
    sheet.arrow(*across.at(1150, -1000), 0)
    sheet.text(*across.at(900, -930), "front (+ y)", size_mm=SMALL_mm)
    return sheet


def rings() -> Sheet:
    """Return the overview of the ring straps."""
    sheet = Sheet(
        "rings",
        "Two ring straps",
        "Overview for build B: a cell at the top of each strap, a second strap past the whole path.",
        "Scale 1:20, ring 1:5. Dimensions in mm. Distance of the straps ± 2, all others ± 10 unless stated. "
        "Anchor and beam: shown by a qualified person.",
    )
    half = 250.0
    view = View(sheet, 107, 184, 0.05)
    building(view, 1150)
    platform(view)
    figure(view, RING_mm, half, feet_y=PLATFORM_mm - 5)
    for side in (-1, 1):
        hanger(view, side * half, lowest=RING_mm - 200, sling_side=side)
        view.circle(side * half, RING_mm - 100, 104, weight_mm=0.9, colour=HANDS)
    box_x, box_y = 1060.0, -1500.0
    cable(view, half, box_x, box_y)
    cable(view, -half, box_x, box_y)
    view.line((250, -40), (box_x, -40), weight_mm=0.25)
    view.line((box_x, -40), (box_x, box_y), weight_mm=0.25)
    view.rect(box_x - 70, box_y - 110, 140, 220, weight_mm=HEAVY_mm, fill=PAPER)
    sheet.heading(49.5, 35, "from behind")
    view.measure((-half, BEAM_mm - 140), (half, BEAM_mm - 140), "500", off_mm=-2.5, along="x")
    view.measure((-1150, BEAM_mm), (-1150, RING_mm), "650 or more", off_mm=-12, along="y")
    view.measure(
        (-1150, RING_mm),
        (-1150, PLATFORM_mm),
        REACH,
        off_mm=-12,
        along="y",
    )
    view.lead((-half, BEAM_mm + 30), (-22, 3), "L1 anchor", size_mm=SMALL_mm)
    view.lead((-half - 35, BEAM_mm + 110), (-20.5, 4), "L3 cell", size_mm=SMALL_mm)
    view.lead((-half - 80, BEAM_mm + 200), (-18, 5), "L9 safety sling", size_mm=SMALL_mm, colour=ATTENTION)
    view.lead((-half, BEAM_mm + 240), (-22, 9), "L10 strap", size_mm=SMALL_mm)
    view.lead((half + 104, RING_mm - 100), (9, 6), "L11 ring", size_mm=SMALL_mm, colour=HANDS)
    view.lead((265, PLATFORM_mm + 10), (9, -7), "P1 platform,\nbuild C", size_mm=SMALL_mm, colour=FEET)
    view.lead((box_x - 70, box_y), (-6, 8), "E4 box, out of\nreach of the fall", size_mm=SMALL_mm)

    axis_x(view)

    ring = View(sheet, 205, 149, 0.2)
    sheet.heading(176, 35, "one ring")
    ring.circle(0, 0, 118, weight_mm=INK_mm, colour=HANDS)
    ring.circle(0, 0, 86, weight_mm=INK_mm, colour=HANDS)
    for x in (-19, 19):
        ring.line((x, -80), (x, -560), weight_mm=INK_mm)
    ring.line((-19, -80), (19, -80), weight_mm=INK_mm)
    ring.rect(-24, -330, 48, 60, weight_mm=HEAVY_mm, fill=PAPER)
    ring.curve(
        [
            (24, -560),
            (60, -450),
            (70, -250),
            (58, -130),
            (52, -84),
            (42, -70),
            (34, -84),
            (40, -130),
            (52, -250),
            (46, -450),
            (24, -560),
        ],
        colour=ATTENTION,
        weight_mm=0.6,
        dash="hidden",
    )
    ring.measure((-118, 0), (118, 0), "200 to 240", off_mm=28, along="x")
    ring.measure((118, 0), (86, 0), "28 to 32", off_mm=28 + 7, along="x", text_off_mm=11)
    ring.lead(
        (19, -480), (24, -4), "L10 strap, 38 wide, woven end to end,\nno knot, no edge it can rub on", size_mm=SMALL_mm
    )
    ring.lead((24, -300), (24, 2), "buckle of the maker: its rating\nwith the strap's, not by itself", size_mm=SMALL_mm)
    ring.lead(
        (62, -200),
        (18, 4),
        "L9 safety sling runs along the strap\nand around the ring, slack 10 to 20,\nand carries nothing in use",
        size_mm=SMALL_mm,
        colour=ATTENTION,
    )
    ring.lead((84, 84), (24, 3), "L11 ring, wood or steel", size_mm=SMALL_mm, colour=HANDS)
    sheet.text(
        176,
        189.5,
        "Both straps are set and marked to the same length. The cells stay where they are:\n"
        "the lateral offset is taken from the load, not from the rings.",
        size_mm=SMALL_mm,
        colour=QUIET,
    )
    return sheet


def load_path() -> Sheet:
    """Return one load path, part by part."""
    sheet = Sheet(
        "load-path",
        "One hanger, part by part",
        "Every part below the beam carries the whole person. The sling beside it carries nothing until a part fails.",
        "Scale 1:4. Dimensions in mm, example sizes: thread and pins as the makers of cell and shackle state. "
        "Ratings in hardware/loads.md.",
    )
    view = View(sheet, 86, 31, 0.25)
    # Beam, cut across, with the through bolt.
    view.rect(-50, 26, 100, 160, weight_mm=HEAVY_mm)
    view.hatch(-50, 26, 43, 160)
    view.hatch(7, 26, 43, 160)
    view.line((-6, 8), (-6, 186), weight_mm=INK_mm)
    view.line((6, 8), (6, 186), weight_mm=INK_mm)
    view.line((-6, 8), (6, 8))
    view.rect(-30, 20, 60, 6, weight_mm=INK_mm, fill=INK)
    view.rect(-10, 10, 20, 10, weight_mm=INK_mm, fill=PAPER)
    view.rect(-30, 186, 60, 6, weight_mm=INK_mm, fill=INK)
    view.circle(0, 214, 22, weight_mm=INK_mm, fill=PAPER)
    view.circle(0, 214, 12, weight_mm=INK_mm, fill=PAPER)

    def shackle(top: float) -> None:
        """Draw a bow shackle with its pin at the bottom, 70 high."""
        view.curve(
            [
                (-16, top + 58),
                (-25, top + 30),
                (-14, top + 4),
                (0, top - 2),
                (14, top + 4),
                (25, top + 30),
                (16, top + 58),
            ],
            weight_mm=HEAVY_mm,
        )
        view.rect(-26, top + 54, 52, 11, weight_mm=INK_mm, fill=PAPER)
        view.line((30, top + 52), (30, top + 68), weight_mm=INK_mm)

    shackle(218)
    # Upper eye, cell, lower eye.
    view.circle(0, 282, 16, weight_mm=INK_mm)
    view.rect(-6, 296, 12, 16, weight_mm=INK_mm, fill=PAPER)
    view.rect(-10, 305, 20, 8, weight_mm=INK_mm, fill=PAPER)
    cell(view, 0, 352, 52, 78)
    view.rect(-10, 391, 20, 8, weight_mm=INK_mm, fill=PAPER)
    view.rect(-6, 399, 12, 10, weight_mm=INK_mm, fill=PAPER)
    view.circle(0, 423, 16, weight_mm=INK_mm)
    shackle(419)
    # Swivel: upper eye on the shackle's pin.
    view.circle(0, 479, 13, weight_mm=INK_mm)
    view.rect(-9, 490, 18, 20, weight_mm=INK_mm, fill=PAPER)
    view.line((-14, 500), (14, 500), weight_mm=HEAVY_mm)
    view.circle(0, 522, 13, weight_mm=INK_mm)
    # Strap, broken off, bar with clamp.
    for x in (-15, 15):
        view.line((x, 526), (x, 552), weight_mm=INK_mm)
        view.line((x, 564), (x, 590), weight_mm=INK_mm)
    view.curve([(-22, 554), (-8, 548), (8, 558), (22, 552)], weight_mm=THIN_mm)
    view.curve([(-22, 565), (-8, 559), (8, 569), (22, 563)], weight_mm=THIN_mm)
    view.rect(-24, 586, 48, 46, weight_mm=INK_mm, fill=PAPER, round_mm=10)
    view.circle(0, 612, 16, weight_mm=HEAVY_mm, fill=PAPER, colour=HANDS)
    view.hatch(-11, 601, 22, 22, gap_mm=1.2, colour=HANDS)
    # Sling around the beam and the clamp.
    view.line((-57, 196), (-57, 30), (-47, 20), (-34, 20), colour=ATTENTION, weight_mm=0.8)
    view.line((34, 20), (47, 20), (57, 30), (57, 182), (47, 192), (34, 192), colour=ATTENTION, weight_mm=0.8)
    view.line((-34, 192), (-57, 192), colour=ATTENTION, weight_mm=0.8)
    leg = [(-57, 196), (-66, 260), (-88, 350), (-92, 450), (-72, 550), (-24, 606)]
    view.curve(leg, colour=ATTENTION, weight_mm=0.8)
    view.circle(0, 612, 20, colour=ATTENTION, weight_mm=0.6, dash="hidden")
    # Cable: clamp at the cell, loop, up along the beam.
    view.rect(30, 330, 14, 14, weight_mm=INK_mm, fill=PAPER)
    view.curve(
        [
            (26, 337),
            (44, 337),
            (74, 352),
            (96, 386),
            (116, 372),
            (112, 344),
            (90, 348),
            (84, 372),
            (98, 392),
            (124, 380),
            (134, 320),
            (128, 200),
            (96, 120),
            (80, 40),
            (100, 8),
            (150, 6),
        ],
        weight_mm=0.45,
    )

    labels: tuple[tuple[tuple[float, float], float, str], ...] = (
        ((30, 23), 30, "plate washer 60 x 60 x 6, nut and lock nut"),
        ((84, 60), 72, "E6 cable: it runs along the beam, never across it"),
        ((20, 208), 196, "L1 anchor: eye bolt M12 through the beam,\nor the maker's anchor for this structure"),
        ((25, 252), 252, "L2 bow shackle, its pin secured with wire"),
        ((15, 288), 294, "L4 eye nut M12, lock nut, 12 of thread or more"),
        ((44, 334), 328, "E15 clamp holds the cable, not the plug"),
        ((124, 380), 372, "E6 loop of 150: it opens before anything tears"),
        ((26, 372), 416, "L3 tension cell, 3 kN. The cable leaves at the\nend that does not move: the upper one"),
        ((25, 450), 454, "L4 eye nut and L2 shackle once more"),
        ((14, 500), 498, "L5 swivel: no twist reaches the cell"),
        ((15, 542), 542, "L6 hanger strap or chain, adjustable"),
        ((24, 594), 588, "L8 bar clamp with eye"),
    )
    for at, level, words in labels:
        view.sheet.lead(view.at(*at), (128, view.at(0, level)[1]), words, size_mm=SMALL_mm)
    sheet.lead(view.at(14, 618), (128, view.at(0, 626)[1]), "L7 bar", size_mm=SMALL_mm, colour=HANDS)
    sheet.lead(
        view.at(-91, 400),
        (47, 118),
        "L9 safety sling, around\nthe beam itself and the\nbar itself. It passes\n"
        "anchor, shackles, cell,\nswivel, strap and clamp.\n\nSlack, bar loaded:\n10 to 20.",
        anchor="end",
        size_mm=SMALL_mm,
        colour=ATTENTION,
    )

    tube = View(sheet, 232, 46, 0.25)
    sheet.heading(206, 35, "the same on a steel tube")
    tube.rect(-40, -8, 80, 80, weight_mm=HEAVY_mm, round_mm=6)
    tube.rect(-34, -2, 68, 68, weight_mm=INK_mm, round_mm=4)
    for off, style in ((0, "solid"), (5, "solid")):
        tube.curve(
            [
                (-46 - off, 30),
                (-46 - off, -10),
                (-30, -15 - off),
                (30, -15 - off),
                (46 + off, -10),
                (46 + off, 30),
                (34 + off, 84),
                (0, 118 + off),
                (-34 - off, 84),
                (-46 - off, 30),
            ],
            dash=style,
        )
    tube.lead((46, 20), (9, -3), "L1 lifting sling around\nthe tube, edge guard\nbetween them", size_mm=SMALL_mm)
    tube.lead((-40, 60), (-5, 6), "tube of the frame:\nits maker's rating", size_mm=SMALL_mm, anchor="end")
    tube.lead((0, 120), (9, 3), "L2", size_mm=SMALL_mm)
    sheet.table(
        206,
        100,
        (26, 26, 28),
        [
            ("carries", "rated for", "breaks above"),
            ("each hanger", "2 x person", "4 x person"),
            ("safety sling", "10 kN", "its standard"),
            ("example 130 kg", "2.55 kN", "5.1 kN"),
        ],
    )
    sheet.steps(
        206,
        126,
        (
            "Hang the sling first, then the path below it.",
            "Pull each part straight: no side load, no bending; a cell is no handle.",
            "Hold the cell at its own end with a second spanner while its lock nut is tightened.",
            "Measure the slack with a person's weight on the bar.",
            "Cable: first the clamp, then the loop, then the ties. If the path parts, the loop opens and "
            "nothing is torn down with it.",
            "One stroke of paint across bolt, nut and pin: a part that has turned shows at a glance.",
        ),
        columns=50,
    )
    return sheet
