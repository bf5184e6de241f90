"""Sheets of what stands: the platform, and the cell under one of its corners."""

from __future__ import annotations

from hardware.drawings.sheet import ATTENTION, FEET, INK, PAPER, QUIET, HEAVY_mm, INK_mm, Sheet, SMALL_mm, THIN_mm, View

CELL_x_mm, CELL_y_mm = 250.0, 200.0
"""Where the cells carry the board, from its middle."""

BEAM_long_mm, BEAM_wide_mm, BEAM_high_mm = 130.0, 30.0, 22.0


def corner(view: View, side_x: int, side_y: int) -> None:
    """Draw a cell from above: a beam along x whose free end carries the board."""
    x, y = side_x * CELL_x_mm, -side_y * CELL_y_mm
    inward = -side_x
    left = min(x - inward * 15, x + inward * (BEAM_long_mm - 15))
    view.rect(left, y - BEAM_wide_mm / 2, BEAM_long_mm, BEAM_wide_mm, weight_mm=INK_mm, dash="hidden")
    view.circle(x, y, 11, weight_mm=INK_mm, colour=FEET, fill=PAPER)
    view.circle(x, y, 2, weight_mm=0, fill=FEET)
    for far in (75, 100):
        view.circle(x + inward * far, y, 4.5, weight_mm=THIN_mm)


def platform() -> Sheet:
    """Return the platform from above and from the right."""
    sheet = Sheet(
        "platform",
        "Platform on four cells",
        "For builds A and B, and by itself as build C: it weighs the feet and tells where they press.",
        "Scale 1:7. Dimensions in mm. Centres of the cells ± 1, outlines ± 2, flatness of the base 1 over its length. "
        "Every cell carries a whole person.",
    )
    view = View(sheet, 88, 87, 1 / 7)
    sheet.heading(36, 34, "from above, top board see-through")
    view.rect(-325, -275, 650, 550, weight_mm=INK_mm)
    view.rect(-300, -250, 600, 500, weight_mm=HEAVY_mm, colour=FEET)
    for side_x in (-1, 1):
        for side_y in (-1, 1):
            corner(view, side_x, side_y)
    view.line((-290, 0), (290, 0), weight_mm=THIN_mm, dash="axis", colour=QUIET)
    view.line((0, -240), (0, 240), weight_mm=THIN_mm, dash="axis", colour=QUIET)
    view.line((0, 0), (80, 0), weight_mm=INK_mm)
    view.line((0, 0), (0, -80), weight_mm=INK_mm)
    sheet.arrow(*view.at(80, 0), 0)
    sheet.arrow(*view.at(0, -80), -90)
    sheet.text(*view.at(86, 8), "+ x, right", size_mm=SMALL_mm)
    sheet.text(*view.at(10, -84), "+ y, front", size_mm=SMALL_mm)
    for name, x, y in (("foot_fl", -1, 1), ("foot_fr", 1, 1), ("foot_rl", -1, -1), ("foot_rr", 1, -1)):
        sheet.text(
            *view.at(x * 185, -y * 160 + (0 if y < 0 else 20)), name, size_mm=SMALL_mm, anchor="middle", colour=FEET
        )
    for row in (-CELL_y_mm, CELL_y_mm):
        view.curve([(-120, row), (-90, row * 0.9), (-62, row * 0.6), (-60, row * 0.3)])
        view.curve([(120, row), (30, row * 0.92), (-50, row * 0.62), (-60, row * 0.3)])
    view.curve([(-60, -60), (-60, 60), (-56, 150), (-20, 235), (60, 262), (325, 262), (390, 262)], weight_mm=0.5)
    view.rect(316, 252, 20, 20, weight_mm=INK_mm, fill=PAPER)
    view.measure((-CELL_x_mm, -200), (CELL_x_mm, -200), "500", off_mm=-14, along="x")
    view.measure((-300, 250), (300, 250), "600", off_mm=8, along="x")
    view.measure((-325, 275), (325, 275), "650", off_mm=11, along="x")
    view.measure((-CELL_x_mm, -CELL_y_mm), (-CELL_x_mm, CELL_y_mm), "400", off_mm=-17, along="y")
    view.measure((-325, -275), (-325, 275), "550", off_mm=-16, along="y")
    view.measure((300, -250), (300, 250), "500", off_mm=9, along="y")
    view.lead((326, 262), (12, -5), "E15 clamp", size_mm=SMALL_mm)
    view.lead((390, 262), (8, 2), "to the box, in a flat\ncable guard: no loop\na foot could catch", size_mm=SMALL_mm)

    side = View(sheet, 88, 180, 1 / 7)
    sheet.heading(36, 152, "from behind")
    side.rect(-325, -21, 650, 21, weight_mm=INK_mm, fill=PAPER)
    side.hatch(-325, -21, 650, 21, gap_mm=1.6)
    side.rect(-300, -97, 600, 24, weight_mm=HEAVY_mm, fill=PAPER, colour=FEET)
    side.line((-300, -100), (300, -100), weight_mm=0.5, dash="dotted")
    for s in (-1, 1):
        side.rect(min(s * 265, s * 135), -49, 130, 22, weight_mm=INK_mm, fill=PAPER)
        side.rect(min(s * 135, s * 190), -27, 55, 6, weight_mm=INK_mm, fill=INK)
        side.rect(s * 250 - 11, -66, 22, 17, weight_mm=INK_mm, fill=PAPER)
        side.rect(s * 250 - 20, -73, 40, 7, weight_mm=INK_mm, fill=PAPER)
        side.rect(s * 160 - 25, 0, 50, 14, weight_mm=INK_mm, fill=PAPER, round_mm=4)
        side.rect(s * 318 - 7, -110, 14, 89, weight_mm=INK_mm, fill=PAPER)
    side.line((-420, 14), (420, 14), weight_mm=HEAVY_mm)
    side.measure((325, -100), (325, 14), "114", off_mm=8, along="y")
    side.lead((-100, -90), (-4, -10), "P1 top board, birch plywood 24, with P8 grip", size_mm=SMALL_mm, colour=FEET)
    side.lead((-60, -6), (-10, 9.5), "P2 base board, plywood 21", size_mm=SMALL_mm)
    side.lead(
        (318, -60),
        (13, -12),
        "P10 rim all around, 12 above the board;\ngap between them 5: they must not touch",
        size_mm=SMALL_mm,
    )
    side.lead((185, 7), (44, 6), "P9 foot, under the fixed end of each cell", size_mm=SMALL_mm)

    sheet.heading(206, 35, "what matters")
    sheet.steps(
        206,
        42,
        (
            "The board touches nothing but the four load buttons: no rim, no cable, no carpet. A sheet of paper slides "
            "through the gap all around.",
            "The base lies flat on firm ground and does not rock: a base that bends turns load at one corner into load "
            "at another.",
            "All four beams lie along x and point outward, so that their names and directions are those of rig.toml.",
            "Free fall onto one corner meets the stop before it harms the cell: see the sheet of the cell.",
            "Rim and grip keep a person on it who lets go with wet hands. Height above the floor as low as it will go.",
        ),
        columns=54,
    )
    sheet.heading(206, 102, "positions for rig.toml")
    sheet.table(
        206,
        108,
        (22, 18, 18, 20),
        [
            ("channel", "x_m", "y_m", "converter"),
            ("foot_fl", "-0.25", "0.20", "2"),
            ("foot_fr", "0.25", "0.20", "3"),
            ("foot_rl", "-0.25", "-0.20", "4"),
            ("foot_rr", "0.25", "-0.20", "5"),
        ],
    )
    return sheet


def platform_cell() -> Sheet:
    """Return the section through one cell of the platform."""
    sheet = Sheet(
        "platform-cell",
        "One corner of the platform",
        "A bending beam: fixed at one end on a spacer, loaded through a ball at the other, with a stop below.",
        "Scale 1:1. Dimensions in mm, for a beam of 130 x 30 x 22 as an example: the holes are the cell maker's. "
        "General tolerance ± 0.5.",
    )
    view = View(sheet, 56, 128, 1.0)
    # Base, spacer, foot, floor.
    view.rect(-30, 0, 190, 21, weight_mm=HEAVY_mm)
    for part in ((-30, 0, 34, 21), (14, 0, 19, 21), (43, 0, 62.5, 21), (117.5, 0, 42.5, 21)):
        view.hatch(*part)
    view.rect(-1, -6, 55, 6, weight_mm=INK_mm)
    view.hatch(-1, -6, 5, 6, gap_mm=1.0)
    view.hatch(14, -6, 19, 6, gap_mm=1.0)
    view.hatch(43, -6, 11, 6, gap_mm=1.0)
    view.rect(-2, 21, 50, 14, weight_mm=INK_mm, fill=PAPER, round_mm=3)
    view.line((-34, 35), (164, 35), weight_mm=HEAVY_mm)
    # Beam with its hollow.
    view.rect(-1, -28, 130, 22, weight_mm=HEAVY_mm, fill=PAPER)
    view.circle(59, -17, 6.5, weight_mm=INK_mm)
    view.circle(73, -17, 6.5, weight_mm=INK_mm)
    view.rect(59, -19.5, 14, 5, weight_mm=0, fill=PAPER)
    view.line((62.5, -19.5), (69.5, -19.5))
    view.line((62.5, -14.5), (69.5, -14.5))
    # Two screws.
    for x in (9.0, 38.0):
        view.rect(x - 5, -28, 10, 49, weight_mm=0, fill=PAPER)
        view.line((x - 4, -28), (x - 4, 21), weight_mm=INK_mm)
        view.line((x + 4, -28), (x + 4, 21), weight_mm=INK_mm)
        view.line((x, -40), (x, 26), weight_mm=THIN_mm, dash="axis")
        view.rect(x - 6.5, -36, 13, 8, weight_mm=INK_mm, fill=PAPER)
        view.rect(x - 7, 21, 14, 6, weight_mm=INK_mm, fill=PAPER)
    # Load button, cup, board.
    view.rect(105, -34, 12, 6, weight_mm=INK_mm, fill=PAPER)
    view.rect(107, -28, 8, 14, weight_mm=THIN_mm, dash="hidden")
    view.curve(
        [(104, -34), (104.5, -40), (107, -43), (111, -44), (115, -43), (117.5, -40), (118, -34)], weight_mm=INK_mm
    )
    view.line((104, -34), (118, -34))
    view.rect(91, -52, 40, 8, weight_mm=INK_mm)
    view.hatch(91, -52, 14, 8, gap_mm=1.2)
    view.hatch(117, -52, 14, 8, gap_mm=1.2)
    view.rect(-20, -76, 175, 24, weight_mm=HEAVY_mm, colour=FEET)
    view.hatch(-20, -76, 175, 24, colour=FEET, gap_mm=3)
    view.line((-20, -77.6), (155, -77.6), weight_mm=0.8, dash="dotted")
    view.line((111, -96), (111, -79), weight_mm=0.6, colour=FEET)
    sheet.arrow(*view.at(111, -78.5), 90, size_mm=3, colour=FEET)
    sheet.text(*view.at(114, -90), "load", colour=FEET, size_mm=SMALL_mm)
    # Stop screw.
    view.rect(105.5, -5.5, 12, 4, weight_mm=INK_mm, fill=PAPER)
    view.rect(107.5, -1.5, 8, 24.5, weight_mm=INK_mm, fill=PAPER)
    view.rect(104.5, 21, 14, 6, weight_mm=INK_mm, fill=PAPER)
    view.line((111.5, -10), (111.5, 30), weight_mm=THIN_mm, dash="axis")
    # Cable.
    view.curve([(-1, -17), (-10, -17), (-15, -8), (-16, -3), (-26, -2), (-44, -2)], weight_mm=0.6)
    view.rect(-28, -5, 12, 5, weight_mm=INK_mm, fill=PAPER)

    view.measure((9, 27), (38, 27), "29", off_mm=14, along="x")
    view.measure((38, 27), (111, 27), "73", off_mm=14, along="x")
    view.measure((-1, 27), (129, 27), "130", off_mm=21, along="x")
    view.measure((160, 0), (160, -6), "6", off_mm=5, along="y", text_off_mm=5)
    view.measure((160, -6), (160, -28), "22", off_mm=5, along="y")
    view.measure((160, -28), (160, -52), "24", off_mm=5, along="y")
    view.measure((160, -52), (160, -76), "24", off_mm=5, along="y")
    right = 226.0
    labels = (
        ((140, -70), 52, "P1 top board, plywood 24, grip P8 glued on", FEET),
        (
            (128, -48),
            69,
            "P5 hardened cup under the board, held by two\nsmall screws",
            INK,
        ),
        (
            (116, -40),
            84,
            "P5 ball-headed button M8, locked, greased.\nOnly a push can pass: no side load, no bending",
            INK,
        ),
        ((125, -22), 101, "P3 bending beam, 2 kN, arrow downward", INK),
        (
            (117.5, -3.5),
            116,
            "P6 stop screw M8 fine, locked from below.\nGap at no load 0.5 ± 0.1: see below",
            ATTENTION,
        ),
        ((30, 30), 163, "P9 rubber foot, straight below the fixed end", INK),
    )
    for at, y, words, colour in labels:
        sheet.lead(view.at(*at), (right, y), words, size_mm=SMALL_mm, colour=colour)
    sheet.lead(
        view.at(3, -33),
        (46, 81.5),
        "P7 two M8 screws,\nclass 8.8 or better,\ntorque as the cell's\nmaker states",
        anchor="end",
        size_mm=SMALL_mm,
    )
    sheet.lead(
        view.at(1, -2),
        (46, 166),
        "P4 steel spacer\n55 x 30 x 6: here alone\nthe beam touches\nthe base",
        anchor="end",
        size_mm=SMALL_mm,
    )
    sheet.lead(view.at(-22, -3), (26, 108), "E15 clamp\non the base", anchor="end", size_mm=SMALL_mm)
    sheet.text(
        10,
        190.5,
        "Setting the stop: take the deflection at rated load from the maker's sheet, set the gap to 1.2 times that "
        "with a feeler gauge (0.5 stands for a deflection of 0.4), and check\nthat a person standing on one corner "
        "does not reach it: known loads put on the corner one after the other must go on adding up.",
        size_mm=SMALL_mm,
        colour=QUIET,
    )
    return sheet
