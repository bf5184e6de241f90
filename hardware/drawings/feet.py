"""Sheets of what stands: the platform, and the cell under one of its corners."""

from __future__ import annotations

import math

from hardware.drawings.sheet import ATTENTION, FEET, INK, PAPER, QUIET, HEAVY_mm, INK_mm, Sheet, SMALL_mm, THIN_mm, View

CELL_x_mm, CELL_y_mm = 250.0, 200.0
"""Where the cells carry the board, from its middle."""

BEAM_long_mm, BEAM_wide_mm, BEAM_high_mm = 130.0, 30.0, 22.0
BEYOND_mm = 18.0
"""From the load button to the beam's free end."""
SCREWS_mm = (73.0, 102.0)
"""From the load button to the two screws."""

BOARD_x_mm, BOARD_y_mm, BOARD_high_mm = 540.0, 440.0, 24.0
"""The board ends so near the load buttons that nobody can stand beyond them and tip it (hardware/loads.md)."""
BASE_x_mm, BASE_y_mm, BASE_high_mm = 590.0, 490.0, 30.0
FOOT_x_mm, FOOT_y_mm, FOOT_wide_mm, FOOT_high_mm = 270.0, 222.0, 40.0, 14.0
"""Centres of the feet from the middle: outside the load buttons, for the same reason."""
SPACER_high_mm, BUTTON_high_mm, GRIP_high_mm = 6.0, 24.0, 3.0
RIM_wide_mm, RIM_gap_mm, RIM_above_mm = 20.0, 5.0, 12.0

BEAM_top_mm = BASE_high_mm + SPACER_high_mm + BEAM_high_mm
GRIP_top_mm = BEAM_top_mm + BUTTON_high_mm + BOARD_high_mm + GRIP_high_mm
"""Above the underside of the base."""


def corner(view: View, side_x: int, side_y: int) -> None:
    """Draw a cell from above: a beam along x whose free end carries the board."""
    x, y = side_x * CELL_x_mm, -side_y * CELL_y_mm
    inward = -side_x
    left = min(x - inward * BEYOND_mm, x + inward * (BEAM_long_mm - BEYOND_mm))
    view.rect(left, y - BEAM_wide_mm / 2, BEAM_long_mm, BEAM_wide_mm, weight_mm=INK_mm, dash="hidden")
    view.circle(x, y, 11, weight_mm=INK_mm, colour=FEET, fill=PAPER)
    view.circle(x, y, 2, weight_mm=0, fill=FEET)
    view.circle(
        side_x * FOOT_x_mm, -side_y * FOOT_y_mm, FOOT_wide_mm / 2, weight_mm=THIN_mm, dash="hidden", colour=QUIET
    )
    for far in SCREWS_mm:
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
    half_x, half_y = BASE_x_mm / 2, BASE_y_mm / 2
    edge_x, edge_y = BOARD_x_mm / 2, BOARD_y_mm / 2
    view.rect(-half_x, -half_y, BASE_x_mm, BASE_y_mm, weight_mm=INK_mm)
    view.rect(-edge_x, -edge_y, BOARD_x_mm, BOARD_y_mm, weight_mm=HEAVY_mm, colour=FEET)
    for side_x in (-1, 1):
        for side_y in (-1, 1):
            corner(view, side_x, side_y)
    view.line((-260, 0), (260, 0), weight_mm=THIN_mm, dash="axis", colour=QUIET)
    view.line((0, -210), (0, 210), weight_mm=THIN_mm, dash="axis", colour=QUIET)
    view.line((0, 0), (80, 0), weight_mm=INK_mm)
    view.line((0, 0), (0, -80), weight_mm=INK_mm)
    sheet.arrow(*view.at(80, 0), 0)
    sheet.arrow(*view.at(0, -80), -90)
    sheet.text(*view.at(84, -9), "+ x, right", size_mm=SMALL_mm)
    sheet.text(*view.at(10, -84), "+ y, front", size_mm=SMALL_mm)
    for name, x, y in (("foot_fl", -1, 1), ("foot_fr", 1, 1), ("foot_rl", -1, -1), ("foot_rr", 1, -1)):
        sheet.text(
            *view.at(x * 185, -y * 160 + (0 if y < 0 else 20)), name, size_mm=SMALL_mm, anchor="middle", colour=FEET
        )
    for row in (-CELL_y_mm, CELL_y_mm):
        view.curve([(-120, row), (-90, row * 0.9), (-62, row * 0.6), (-60, row * 0.3)])
        view.curve([(120, row), (30, row * 0.92), (-50, row * 0.62), (-60, row * 0.3)])
    view.curve([(-60, -60), (-60, 60), (-56, 130), (-20, 180), (60, 184), (290, 184), (370, 184)], weight_mm=0.5)
    view.rect(half_x - 10, 174, 20, 20, weight_mm=INK_mm, fill=PAPER)
    view.measure((-CELL_x_mm, -CELL_y_mm), (CELL_x_mm, -CELL_y_mm), "500", off_mm=-12, along="x")
    view.measure((-edge_x, edge_y), (edge_x, edge_y), f"{BOARD_x_mm:.0f}", off_mm=8, along="x")
    view.measure((-half_x, half_y), (half_x, half_y), f"{BASE_x_mm:.0f}", off_mm=11, along="x")
    view.measure((-CELL_x_mm, -CELL_y_mm), (-CELL_x_mm, CELL_y_mm), "400", off_mm=-15, along="y")
    view.measure((-half_x, -half_y), (-half_x, half_y), f"{BASE_y_mm:.0f}", off_mm=-16, along="y")
    view.measure((edge_x, -edge_y), (edge_x, edge_y), f"{BOARD_y_mm:.0f}", off_mm=9, along="y")
    view.lead((half_x, 174), (14, -8), "E15 clamp, the rim notched for the cable", size_mm=SMALL_mm)
    view.lead(
        (FOOT_x_mm - 6, -FOOT_y_mm + 6),
        (24, 6),
        f"P9 foot {FOOT_wide_mm:.0f}, centres {2 * FOOT_x_mm:.0f} x {2 * FOOT_y_mm:.0f}:\noutside the load buttons,\n"
        "or the platform tips",
        size_mm=SMALL_mm,
    )
    view.lead((370, 184), (5, 2), "to the box, in a flat\ncable guard: no loop\na foot could catch", size_mm=SMALL_mm)

    side = View(sheet, 88, 180, 1 / 7)
    sheet.heading(36, 152, "from behind")
    side.rect(-half_x, -BASE_high_mm, BASE_x_mm, BASE_high_mm, weight_mm=INK_mm, fill=PAPER)
    side.hatch(-half_x, -BASE_high_mm, BASE_x_mm, BASE_high_mm, gap_mm=1.6)
    board_top = GRIP_top_mm - GRIP_high_mm
    side.rect(-edge_x, -board_top, BOARD_x_mm, BOARD_high_mm, weight_mm=HEAVY_mm, fill=PAPER, colour=FEET)
    side.line((-edge_x, -GRIP_top_mm), (edge_x, -GRIP_top_mm), weight_mm=0.5, dash="dotted")
    rim_top = GRIP_top_mm + RIM_above_mm
    free, fixed = CELL_x_mm + BEYOND_mm, CELL_x_mm + BEYOND_mm - BEAM_long_mm
    for s in (-1, 1):
        side.rect(min(s * free, s * fixed), -BEAM_top_mm, BEAM_long_mm, BEAM_high_mm, weight_mm=INK_mm, fill=PAPER)
        low = BASE_high_mm + SPACER_high_mm
        side.rect(min(s * fixed, s * (fixed + 55)), -low, 55, SPACER_high_mm, weight_mm=INK_mm, fill=INK)
        side.rect(s * CELL_x_mm - 11, -BEAM_top_mm - 17, 22, 17, weight_mm=INK_mm, fill=PAPER)
        side.rect(s * CELL_x_mm - 20, -BEAM_top_mm - BUTTON_high_mm, 40, 7, weight_mm=INK_mm, fill=PAPER)
        side.rect(
            s * FOOT_x_mm - FOOT_wide_mm / 2,
            0,
            FOOT_wide_mm,
            FOOT_high_mm,
            weight_mm=INK_mm,
            fill=PAPER,
            round_mm=4,
        )
        side.rect(
            s * (half_x - RIM_wide_mm / 2) - RIM_wide_mm / 2,
            -rim_top,
            RIM_wide_mm,
            rim_top - BASE_high_mm,
            weight_mm=INK_mm,
            fill=PAPER,
        )
    side.line((-420, FOOT_high_mm), (420, FOOT_high_mm), weight_mm=HEAVY_mm)
    side.measure(
        (half_x, -GRIP_top_mm),
        (half_x, FOOT_high_mm),
        f"{GRIP_top_mm + FOOT_high_mm:.0f}",
        off_mm=8,
        along="y",
    )
    side.lead(
        (-100, -board_top + 7),
        (-4, -9),
        "P1 top board, plywood 24, with P8 grip 3",
        size_mm=SMALL_mm,
        colour=FEET,
    )
    side.lead((-60, -9), (-10, 9.5), "P2 base board, birch plywood 30", size_mm=SMALL_mm)
    side.lead(
        (half_x - RIM_wide_mm / 2, -rim_top + 30),
        (17, -9),
        f"P10 rim all around, {RIM_wide_mm:.0f} x {rim_top - BASE_high_mm:.0f}: {RIM_above_mm:.0f} above the grip;\n"
        f"gap to the board {RIM_gap_mm:.0f}: they must not touch",
        size_mm=SMALL_mm,
    )

    sheet.heading(206, 35, "what matters")
    sheet.steps(
        206,
        42,
        (
            "The board touches nothing but the four load buttons: no rim, no cable, no carpet. A sheet of paper slides "
            "through the gap all around.",
            "The base lies flat on firm ground and does not rock, on feet at its corners: whoever steps on the edge "
            "must not tip it.",
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


HOLES: tuple[tuple[str, str, float, float, str], ...] = (
    ("a", "P7, near screw", CELL_x_mm - SCREWS_mm[0], CELL_y_mm, "9 through"),
    ("b", "P7, far screw", CELL_x_mm - SCREWS_mm[1], CELL_y_mm, "9 through"),
    ("c", "P6, stop", CELL_x_mm, CELL_y_mm, "thread M8 x 1, insert from above"),
    ("d", "P9, foot", FOOT_x_mm, FOOT_y_mm, "its maker's screw, from below"),
)
"""Holes of the base: mark, what for, distance from the middle along x and y (both signs: four of each), kind."""
CUP_SCREWS_mm = 15.0
"""From a load button's place to the two screws of its cup, across the corner: along an edge one would split it."""


def platform_boards() -> Sheet:
    """Return the two boards of the platform, to cut and to drill."""
    sheet = Sheet(
        "platform-boards",
        "Boards of the platform, to cut and to drill",
        "Every hole is there four times, to both sides of both axes. For other cells: their sheet first.",
        "Scale 1:5. Dimensions in mm. Outlines ± 1, holes ± 0.5 from the axes, load buttons over their cups ± 1. "
        "Edges broken 1.",
    )
    base = View(sheet, 80, 94, 0.2)
    sheet.heading(21, 34, "P2 base, from above: birch plywood 30")
    base.rect(-BASE_x_mm / 2, -BASE_y_mm / 2, BASE_x_mm, BASE_y_mm, weight_mm=HEAVY_mm)
    top = View(sheet, 218, 94, 0.2)
    sheet.heading(164, 34, "P1 board, from below: birch plywood 24")
    top.rect(-BOARD_x_mm / 2, -BOARD_y_mm / 2, BOARD_x_mm, BOARD_y_mm, weight_mm=HEAVY_mm, colour=FEET, round_mm=10)
    for view, half_x, half_y in (
        (base, BASE_x_mm / 2 - 8, BASE_y_mm / 2 - 8),
        (top, BOARD_x_mm / 2 - 8, BOARD_y_mm / 2 - 8),
    ):
        view.line((-half_x, 0), (half_x, 0), weight_mm=THIN_mm, dash="axis", colour=QUIET)
        view.line((0, -half_y), (0, half_y), weight_mm=THIN_mm, dash="axis", colour=QUIET)
    for side_x in (-1, 1):
        for side_y in (-1, 1):
            for mark, _what, x, y, kind in HOLES:
                hidden = "hidden" if kind.endswith("below") else "solid"
                base.circle(side_x * x, side_y * y, 4.5 if mark != "d" else 6, weight_mm=INK_mm, dash=hidden)
            x, y = side_x * CELL_x_mm, side_y * CELL_y_mm
            top.circle(x, y, 20, weight_mm=THIN_mm, dash="hidden")
            for way in (-1, 1):
                off = way * CUP_SCREWS_mm / math.sqrt(2)
                top.circle(x + side_x * off, y - side_y * off, 2, weight_mm=INK_mm)
    for mark, _what, x, y, _kind in HOLES:
        away = (8.0, 15.0) if mark in "ab" else (-14.0, 15.0) if mark == "c" else (4.0, -13.0)
        base.sheet.text(
            *base.at(x - 4 + (away[0] if mark in "cd" else 0), -y + (26 if mark != "d" else 34)), mark, size_mm=SMALL_mm
        )
    base.measure(
        (-BASE_x_mm / 2, BASE_y_mm / 2), (BASE_x_mm / 2, BASE_y_mm / 2), f"{BASE_x_mm:.0f}", off_mm=7, along="x"
    )
    base.measure(
        (-BASE_x_mm / 2, -BASE_y_mm / 2), (-BASE_x_mm / 2, BASE_y_mm / 2), f"{BASE_y_mm:.0f}", off_mm=-7, along="y"
    )
    top.measure(
        (-BOARD_x_mm / 2, BOARD_y_mm / 2), (BOARD_x_mm / 2, BOARD_y_mm / 2), f"{BOARD_x_mm:.0f}", off_mm=12, along="x"
    )
    top.measure(
        (BOARD_x_mm / 2, -BOARD_y_mm / 2), (BOARD_x_mm / 2, BOARD_y_mm / 2), f"{BOARD_y_mm:.0f}", off_mm=7, along="y"
    )
    top.measure((-CELL_x_mm, -CELL_y_mm), (CELL_x_mm, -CELL_y_mm), f"{2 * CELL_x_mm:.0f}", off_mm=24, along="x")
    top.measure((-CELL_x_mm, -CELL_y_mm), (-CELL_x_mm, CELL_y_mm), f"{2 * CELL_y_mm:.0f}", off_mm=20, along="y")
    top.lead(
        (CELL_x_mm - CUP_SCREWS_mm / math.sqrt(2), CELL_y_mm + CUP_SCREWS_mm / math.sqrt(2)),
        (-8, -17),
        f"P5 cup, two screws {2 * CUP_SCREWS_mm:.0f} apart,\nbored 2.5, 15 deep, not through",
        size_mm=SMALL_mm,
        anchor="end",
    )
    sheet.heading(21, 158, "holes of the base, from its middle")
    sheet.table(
        21,
        164,
        (10, 30, 16, 16, 56),
        [("mark", "for", "x", "y", "hole")]
        + [(mark, what, f"± {x:.0f}", f"± {y:.0f}", kind) for mark, what, x, y, kind in HOLES],
    )
    sheet.steps(
        164,
        160,
        (
            "Mark the middle and both axes first; measure from them, never from an edge or from hole to hole.",
            "P11 plates and P4 spacers are drilled like a and b; drill them together with the base.",
            "Clamp and notch for the cable (E15): at the right edge, 184 behind the middle.",
            f"P10 rim: strips of {RIM_wide_mm:.0f} along all edges of the base, glued and screwed from below.",
        ),
        columns=62,
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
    view = View(sheet, 56, 122, 1.0)
    # Base, spacer, back plate, foot, floor, rim.
    base = BASE_high_mm
    edge = 111 + BASE_x_mm / 2 - CELL_x_mm
    board = 111 + BOARD_x_mm / 2 - CELL_x_mm
    view.rect(-20, 0, edge + 20, base, weight_mm=HEAVY_mm)
    for left, wide in ((-20, 24), (14, 19), (43, 62.5), (117.5, edge - 117.5)):
        view.hatch(left, 0, wide, base)
    view.rect(-1, base, 55, 3, weight_mm=INK_mm, fill=PAPER)
    view.rect(edge - RIM_wide_mm, -91, RIM_wide_mm, 91, weight_mm=INK_mm, fill=PAPER)
    view.hatch(edge - RIM_wide_mm, -91, RIM_wide_mm, 91, gap_mm=3)
    view.rect(-1, -6, 55, 6, weight_mm=INK_mm)
    view.hatch(-1, -6, 5, 6, gap_mm=1.0)
    view.hatch(14, -6, 19, 6, gap_mm=1.0)
    view.hatch(43, -6, 11, 6, gap_mm=1.0)
    foot = 111 + FOOT_x_mm - CELL_x_mm
    view.rect(foot - FOOT_wide_mm / 2, base, FOOT_wide_mm, FOOT_high_mm, weight_mm=INK_mm, fill=PAPER, round_mm=3)
    view.line((-34, base + FOOT_high_mm), (164, base + FOOT_high_mm), weight_mm=HEAVY_mm)
    # Beam with its hollow.
    view.rect(-1, -28, 130, 22, weight_mm=HEAVY_mm, fill=PAPER)
    view.circle(59, -17, 6.5, weight_mm=INK_mm)
    view.circle(73, -17, 6.5, weight_mm=INK_mm)
    view.rect(59, -19.5, 14, 5, weight_mm=0, fill=PAPER)
    view.line((62.5, -19.5), (69.5, -19.5))
    view.line((62.5, -14.5), (69.5, -14.5))
    # Two screws.
    for x in (9.0, 38.0):
        view.rect(x - 5, -28, 10, base + 31, weight_mm=0, fill=PAPER)
        view.line((x - 4, -28), (x - 4, base + 3), weight_mm=INK_mm)
        view.line((x + 4, -28), (x + 4, base + 3), weight_mm=INK_mm)
        view.line((x, -40), (x, base + 13), weight_mm=THIN_mm, dash="axis")
        view.rect(x - 6.5, -36, 13, 8, weight_mm=INK_mm, fill=PAPER)
        view.rect(x - 7, base + 3, 14, 6.5, weight_mm=INK_mm, fill=PAPER)
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
    view.rect(-20, -76, board + 20, 24, weight_mm=HEAVY_mm, colour=FEET)
    view.hatch(-20, -76, board + 20, 24, colour=FEET, gap_mm=3)
    view.line((-20, -77.6), (board, -77.6), weight_mm=0.8, dash="dotted")
    view.line((111, -96), (111, -79), weight_mm=0.6, colour=FEET)
    sheet.arrow(*view.at(111, -78.5), 90, size_mm=3, colour=FEET)
    sheet.text(*view.at(114, -90), "load", colour=FEET, size_mm=SMALL_mm)
    # Stop screw.
    view.rect(105.5, -5.5, 12, 4, weight_mm=INK_mm, fill=PAPER)
    view.rect(107.5, -1.5, 8, base + 3.5, weight_mm=INK_mm, fill=PAPER)
    view.rect(104.5, base, 14, 6, weight_mm=INK_mm, fill=PAPER)
    view.line((111.5, -10), (111.5, base + 9), weight_mm=THIN_mm, dash="axis")
    # Cable.
    view.curve([(-1, -17), (-5, -18), (-5, -10), (-4, -4), (-8, -2), (-34, -2)], weight_mm=0.6)
    view.rect(-18, -5, 12, 5, weight_mm=INK_mm, fill=PAPER)

    low = base + 8
    view.measure((-1, low), (9, low), "10", off_mm=12, along="x")
    view.measure((9, low), (38, low), "29", off_mm=12, along="x")
    view.measure((38, low), (111, low), "73", off_mm=12, along="x")
    view.measure((111, low), (129, low), "18", off_mm=12, along="x")
    view.measure((-1, low), (129, low), "130", off_mm=18, along="x")
    view.measure((160, base), (160, 0), "30", off_mm=5, along="y")
    view.measure((160, base + FOOT_high_mm), (160, base), "14", off_mm=5, along="y")
    view.measure((160, 0), (160, -6), "6", off_mm=5, along="y")
    view.measure((160, -6), (160, -28), "22", off_mm=5, along="y")
    view.measure((160, -28), (160, -52), "24", off_mm=5, along="y")
    view.measure((160, -52), (160, -76), "24", off_mm=5, along="y")
    right = 226.0
    labels = (
        ((edge - 8, -86), 33, "P10 rim", INK),
        ((board - 3, -70), 47, "P1 top board, plywood 24, grip P8 glued on", FEET),
        (
            (128, -48),
            63,
            "P5 hardened cup under the board, held by two\nsmall screws",
            INK,
        ),
        (
            (116, -40),
            78,
            "P5 ball-headed button M8, locked, greased.\nOnly a push can pass: no side load, no bending",
            INK,
        ),
        ((125, -22), 95, "P3 bending beam, 2 kN, arrow downward", INK),
        (
            (117.5, -3.5),
            110,
            "P6 stop screw M8 fine, locked from below.\nGap at no load 0.6 ± 0.05: see below",
            ATTENTION,
        ),
        ((145, base + 6), 158, "P9 foot, its centre 20 outside the button", INK),
    )
    for at, y, words, colour in labels:
        sheet.lead(view.at(*at), (right, y), words, size_mm=SMALL_mm, colour=colour)
    sheet.lead(
        view.at(3, -33),
        (46, 75.5),
        "P7 two M8 x 70,\nclass 8.8 or better,\n8 N m on plywood\n(loads.md)",
        anchor="end",
        size_mm=SMALL_mm,
    )
    sheet.lead(
        view.at(1, -2),
        (32, 122),
        "P4 steel\nspacer\n55 x 30 x 6",
        anchor="end",
        size_mm=SMALL_mm,
    )
    sheet.lead(view.at(0.5, base + 1.5), (46, 172), "P11 back plate 55 x 30 x 3", anchor="end", size_mm=SMALL_mm)
    sheet.lead(view.at(-13, -3), (32, 102), "E15 clamp\non the base", anchor="end", size_mm=SMALL_mm)
    sheet.text(
        10,
        190.5,
        "Setting the stop: take the deflection at rated load from the maker's sheet, add 0.2 for the base, set that "
        "gap with a feeler gauge (0.6 stands for a deflection of 0.4), and check\nthat a person standing on one corner "
        "does not reach it: known loads put on the corner one after the other must go on adding up.",
        size_mm=SMALL_mm,
        colour=QUIET,
    )
    return sheet
