"""Sheets to print and to cut from: the box, its gland plate, the cable clamp."""

from __future__ import annotations

from hardware.drawings.sheet import PAPER, QUIET, HEAVY_mm, Sheet, SMALL_mm, THIN_mm, View

LONG_mm, WIDE_mm, HIGH_mm, WALL_mm = 130.0, 90.0, 55.0, 3.0
POST_x_mm, POST_y_mm = 100.0, 72.0
"""Distances of the lid's posts: far enough from the end wall for the nuts of the gland plate."""


def enclosure() -> Sheet:
    """Return the box and its lid."""
    sheet = Sheet(
        "box",
        "Box for board and converters",
        "To be printed, or bought: any closed box of this inner size with a plate for the glands will do.",
        "Scale 1:2. Dimensions in mm, tolerance ± 0.3, holes + 0.2 / 0. Printed in PETG or ASA, wall 3, "
        "four outlines, no supports, floor down.",
    )
    # From above, lid off.
    view = View(sheet, 30, 48, 0.5)
    sheet.heading(14, 35, "from above, lid off")
    view.rect(0, 0, LONG_mm, WIDE_mm, weight_mm=HEAVY_mm, round_mm=6)
    view.rect(WALL_mm, WALL_mm, LONG_mm - 2 * WALL_mm, WIDE_mm - 2 * WALL_mm, round_mm=4)
    left, top = (LONG_mm - POST_x_mm) / 2, (WIDE_mm - POST_y_mm) / 2
    for x in (left, LONG_mm - left):
        for y in (top, WIDE_mm - top):
            view.circle(x, y, 5.5, fill=PAPER)
            view.circle(x, y, 2.1, fill=PAPER)
    for x0, y0, w, h in ((22.0, 14.0, 51.0, 21.0), (22, 44, 86, 32)):
        view.rect(x0, y0, w, h, weight_mm=THIN_mm, dash="hidden")
    for x, y in ((24, 18.8), (24, 30.2), (71, 18.8), (71, 30.2)):
        view.circle(x, y, 3, fill=PAPER, weight_mm=THIN_mm)
        view.circle(x, y, 1, weight_mm=THIN_mm)
    for x in (26.0, 104.0):
        for y in (48.0, 72.0):
            view.circle(x, y, 3.5, fill=PAPER, weight_mm=THIN_mm)
            view.circle(x, y, 1.3, weight_mm=THIN_mm)
    sheet.text(*view.at(47.5, 26.5), "E1 board", size_mm=SMALL_mm, anchor="middle")
    sheet.text(*view.at(65, 62), "E3, or E14 with E2", size_mm=SMALL_mm, anchor="middle")
    view.measure((0, 0), (LONG_mm, 0), "130", off_mm=-7, along="x")
    view.measure((0, 0), (0, WIDE_mm), "90", off_mm=-7, along="y")
    view.measure((left, WIDE_mm), (LONG_mm - left, WIDE_mm), f"{POST_x_mm:.0f}", off_mm=7, along="x")
    view.measure((LONG_mm, top), (LONG_mm, WIDE_mm - top), f"{POST_y_mm:.0f}", off_mm=7, along="y")
    view.measure((26, 72), (104, 72), "78", off_mm=22, along="x")
    view.lead(
        (LONG_mm - left, top),
        (29, -3),
        "4 posts, 4.2 bore, 8 deep, for M3 brass\ninserts (their sheet decides)",
        size_mm=SMALL_mm,
    )
    view.lead(
        (104, 72), (34, 6), "4 posts, 6 high, for M3 self-tapping;\nthe modules stand upright on E14", size_mm=SMALL_mm
    )
    view.lead(
        (71, 18.8), (49, 8), "4 posts, 4 high, bore 1.8, on 47 x 11.4\n(the board's sheet decides)", size_mm=SMALL_mm
    )

    # Cut lengthwise.
    cut = View(sheet, 30, 146, 0.5)
    sheet.heading(14, 132, "cut lengthwise")
    cut.rect(0, 0, LONG_mm, HIGH_mm, weight_mm=HEAVY_mm)
    cut.rect(WALL_mm, 0, LONG_mm - 2 * WALL_mm, HIGH_mm - WALL_mm, weight_mm=HEAVY_mm, fill=PAPER)
    for left, top, w, h in (
        (0.0, 0.0, WALL_mm, HIGH_mm),
        (LONG_mm - WALL_mm, 0, WALL_mm, HIGH_mm),
        (WALL_mm, HIGH_mm - WALL_mm, LONG_mm - 2 * WALL_mm, WALL_mm),
    ):
        cut.hatch(left, top, w, h, gap_mm=1.0)
    cut.rect(0, -7, LONG_mm, 3, weight_mm=HEAVY_mm)
    cut.rect(WALL_mm + 0.3, -4, LONG_mm - 2 * WALL_mm - 0.6, 3)
    for post in (22.0, 98.0):
        cut.rect(post, HIGH_mm - WALL_mm - 6, 7, 6)
    cut.measure((LONG_mm, -7), (LONG_mm, -4), "3", off_mm=5, along="y", text_off_mm=-3)
    cut.measure((LONG_mm, 0), (LONG_mm, HIGH_mm), f"{HIGH_mm:.0f}", off_mm=5, along="y")
    cut.measure((0, HIGH_mm), (WALL_mm, HIGH_mm), "3", off_mm=5, along="x", text_off_mm=-3)
    cut.lead((90, -2.5), (54, -7), "lid with a lip 3 deep, all around 0.3 smaller than the opening", size_mm=SMALL_mm)
    cut.lead(
        (LONG_mm - 1.5, 36),
        (34, 2),
        "gland plate on this end, in its middle;\nopening 58 x 37: its own sheet",
        size_mm=SMALL_mm,
    )

    sheet.heading(188, 35, "what matters")
    sheet.steps(
        188,
        42,
        (
            "Hangs beside the rig, above head or behind a panel: nothing that a falling or swinging person could hit, "
            "and no cable they could take along.",
            "Closed to chalk: chalk holds water and leaks current between pins of millivolt signals. Lid with a strip "
            "of soft foam.",
            "Two holes 5.5 in the floor, 110 apart, for screws into the wall; or two straps around the frame's tube.",
            "Opening for the USB plug 13 x 8 in the short wall beside the board, the plug held by its own clamp (E15) "
            "inside.",
            "Away from sun and radiator: a converter that warms up drifts.",
        ),
        columns=58,
    )
    return sheet


def gland_plate() -> Sheet:
    """Return the plate for six glands, to be cut or drilled."""
    sheet = Sheet(
        "gland-plate",
        "Gland plate",
        "For the end of the box: six cells. Cut from 3 mm aluminium or acrylic, or printed.",
        "Scale 1:1. Dimensions in mm, positions ± 0.2, holes + 0.3 / 0, edges broken 0.5. Print without scaling: "
        "the bar below must measure 100.",
    )
    view = View(sheet, 70, 62, 1.0)
    view.rect(0, 0, 84, 43, weight_mm=HEAVY_mm, round_mm=3)
    for x in (6.0, 78.0):
        for y in (6.0, 37.0):
            view.circle(x, y, 1.7)
    view.rect(13, 3, 58, 37, weight_mm=THIN_mm, dash="hidden")
    for i in range(6):
        x, y = 22.0 + 20 * (i % 3), 12.5 + 18 * (i // 3)
        view.circle(x, y, 6.1, weight_mm=HEAVY_mm)
        view.line((x - 8, y), (x + 8, y), weight_mm=THIN_mm, dash="axis", colour=QUIET)
        view.line((x, y - 8), (x, y + 8), weight_mm=THIN_mm, dash="axis", colour=QUIET)
        sheet.text(*view.at(x + 1.2, y - 1.2), str(i), size_mm=SMALL_mm)
    view.measure((0, 43), (84, 43), "84", off_mm=14, along="x")
    view.measure((0, 0), (0, 43), "43", off_mm=-16, along="y")
    view.measure((6, 6), (78, 6), "72", off_mm=-24, along="x")
    view.measure((0, 0), (22, 12.5), "22", off_mm=-9, along="x")
    view.measure((22, 0), (42, 12.5), "20", off_mm=-9, along="x")
    view.measure((42, 0), (62, 12.5), "20", off_mm=-9, along="x")
    view.measure((84, 0), (62, 12.5), "12.5", off_mm=7, along="y")
    view.measure((84, 12.5), (62, 30.5), "18", off_mm=7, along="y")
    view.measure((84, 6), (78, 37), "31", off_mm=15, along="y")
    view.lead((66.3, 16.8), (50, -16), "6 holes 12.2 for E5 glands M12 x 1.5", size_mm=SMALL_mm)
    view.lead((71, 34), (45.3, -8), "opening in the box's wall, 58 x 37", size_mm=SMALL_mm)
    view.lead((78, 37), (38.3, 8), "4 holes 3.4 for M3", size_mm=SMALL_mm)
    view.line((0, 92), (100, 92), weight_mm=HEAVY_mm)
    for x in (0.0, 50.0, 100.0):
        view.line((x, 90), (x, 94))
    sheet.text(*view.at(50, 99), "100", anchor="middle", size_mm=SMALL_mm)
    sheet.steps(
        186,
        128,
        (
            "Number the holes on the plate itself, as the converter's channels are numbered.",
            "The gland seals on the cable's jacket and holds it. A hole that is not used is closed with a blind plug.",
            "A plate of aluminium is joined to the box's ground with the shields.",
        ),
        columns=58,
    )
    return sheet


def cable_clamp() -> Sheet:
    """Return the clamp that takes the pull off a cable."""
    sheet = Sheet(
        "cable-clamp",
        "Cable clamp, E15",
        "Takes the pull off a cable at the cell, at the platform's edge and in the box. Printed, two screws.",
        "Scale 2:1. Dimensions in mm, tolerance ± 0.2, bore - 0.1 / 0. PETG, printed lying on the flat side, full.",
    )
    front = View(sheet, 40, 70, 2.0)
    sheet.heading(24, 38, "from the front")
    front.rect(0, 0, 34, 6, weight_mm=HEAVY_mm)
    front.rect(0, 6.8, 34, 6, weight_mm=HEAVY_mm)
    # The bore, half in each part.
    front.rect(14.4, 5.5, 5.2, 1.8, weight_mm=0, fill=PAPER)
    front.sheet.path(
        f"M{front.at(14.5, 6)[0]:.2f} {front.at(14.5, 6)[1]:.2f} a5 5 0 0 1 10 0",
        weight_mm=HEAVY_mm,
        fill=PAPER,
    )
    front.sheet.path(
        f"M{front.at(14.5, 6.8)[0]:.2f} {front.at(14.5, 6.8)[1]:.2f} a5 5 0 0 0 10 0",
        weight_mm=HEAVY_mm,
        fill=PAPER,
    )
    for x in (6.0, 28.0):
        for off in (-1.7, 1.7):
            front.line((x + off, 0), (x + off, 12.8), dash="hidden", weight_mm=THIN_mm)
        front.line((x, -3), (x, 16), dash="axis", weight_mm=THIN_mm, colour=QUIET)
    front.measure((0, 12.8), (34, 12.8), "34", off_mm=15, along="x")
    front.measure((6, 12.8), (28, 12.8), "22", off_mm=8, along="x")
    front.measure((0, 0), (0, 6), "6", off_mm=-6, along="y")
    front.measure((0, 6.8), (0, 12.8), "6", off_mm=-6, along="y")
    front.measure((34, 6), (34, 6.8), "0.8", off_mm=6, along="y", text_off_mm=-5)
    front.lead((17, 3.5), (10, -20), "bore = cable's diameter - 0.4 (here 5.0 for a cable of 5.4)", size_mm=SMALL_mm)
    top = View(sheet, 40, 130, 2.0)
    sheet.heading(24, 120, "from above")
    top.rect(0, 0, 34, 16, weight_mm=HEAVY_mm, round_mm=2)
    for x in (6.0, 28.0):
        top.circle(x, 8, 1.7)
    for x in (14.5, 19.5):
        top.line((x, 0), (x, 16), dash="hidden", weight_mm=THIN_mm)
    for y in (3.0, 8.0, 13.0):
        top.line((14.5, y), (19.5, y), weight_mm=THIN_mm)
    top.measure((34, 0), (34, 16), "16", off_mm=6, along="y")
    top.lead((28, 8), (24, 14), "2 holes 3.4 for M3 x 20", size_mm=SMALL_mm)
    top.lead(
        (19.5, 3), (41, -4), "3 ridges 0.4 high across the bore,\nrounded: they hold and do not cut", size_mm=SMALL_mm
    )
    sheet.steps(
        178,
        62,
        (
            "The cable's jacket is held, never its wires. A tug of 50 N must not move it (a bag of 5 kg hung from it).",
            "At the cell: on a bracket of the cell's own, still end, so that the cable pulls at nothing that measures.",
            "Then a loop of 150 before the next tie.",
            "At the platform: on the base, never on the board.",
        ),
        columns=62,
    )
    return sheet
