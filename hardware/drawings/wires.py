"""Wiring sheets: a cell at its converter, six low-cost converters, the reference converter, power and ground."""

from __future__ import annotations

import runpy
from collections.abc import Sequence
from pathlib import Path

from hardware.drawings.sheet import (
    ATTENTION,
    INK,
    PAPER,
    QUIET,
    HEAVY_mm,
    INK_mm,
    Point,
    Sheet,
    SMALL_mm,
)

SETTINGS = runpy.run_path(str(Path(__file__).parents[2] / "firmware_bridge" / "board" / "board_settings.py"))
"""The firmware's settings: the sheets show the pins that it uses."""


def pin(setting: str, index: int | None = None) -> str:
    """Return a pin of the settings as it is printed on the board."""
    number = SETTINGS[setting]
    return f"GP{number if index is None else number[index]}"


def box(sheet: Sheet, x: float, y: float, w: float, h: float, name: str) -> None:
    """Draw a module with its name on top."""
    sheet.rect(x, y, w, h, weight_mm=HEAVY_mm, fill=PAPER)
    sheet.text(x + w / 2, y - 2, name, anchor="middle", bold=True, size_mm=SMALL_mm)


def pins(sheet: Sheet, x: float, ys: Sequence[float], names: Sequence[str], *, side: str) -> None:
    """Write the names of pins inside a module's edge."""
    for y, name in zip(ys, names, strict=True):
        gap = 1.5 if side == "left" else -1.5
        sheet.text(x + gap, y + 0.9, name, size_mm=SMALL_mm, anchor="start" if side == "left" else "end")
        sheet.dot(x, y, r=0.7)


def wire(sheet: Sheet, *points: Point, weight_mm: float = INK_mm, dash: str = "solid", colour: str = INK) -> None:
    """Draw a wire."""
    sheet.line(*points, weight_mm=weight_mm, dash=dash, colour=colour)


def bridge(sheet: Sheet, x: float, y: float, r: float) -> None:
    """Draw the four resistors of a bridge as a diamond around a point."""
    corners = [(x, y - r), (x + r, y), (x, y + r), (x - r, y)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        sheet.line(a, b)
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        dx, dy = (b[0] - a[0]) / 5, (b[1] - a[1]) / 5
        nx, ny = -dy / 3.2, dx / 3.2
        square = [
            (middle[0] - dx + nx, middle[1] - dy + ny),
            (middle[0] + dx + nx, middle[1] + dy + ny),
            (middle[0] + dx - nx, middle[1] + dy - ny),
            (middle[0] - dx - nx, middle[1] - dy - ny),
        ]
        d = "M" + " L".join(f"{px:.2f} {py:.2f}" for px, py in square) + " Z"
        sheet.path(d, fill=PAPER)
    for corner in corners:
        sheet.dot(*corner)


def ground(sheet: Sheet, x: float, y: float) -> None:
    """Draw the sign of the board's ground below a point."""
    for i, half in enumerate((3.0, 2.0, 1.0)):
        sheet.line((x - half, y + 1.2 * i), (x + half, y + 1.2 * i), weight_mm=0.5)


def resistor(sheet: Sheet, x: float, y: float, *, upright: bool) -> None:
    """Draw a resistor centred at a point."""
    w, h = (2.2, 7.0) if upright else (7.0, 2.2)
    sheet.rect(x - w / 2, y - h / 2, w, h, fill=PAPER)


def cell_to_converter() -> Sheet:
    """Return one cell at its converter."""
    sheet = Sheet(
        "cell-to-converter",
        "One cell at its converter",
        "Four or six wires and a shield. The names decide, never the colours: each maker has its own.",
        "No scale. Colours of wires: the cell's sheet. Signals of a few millivolts: every joint soldered or crimped, "
        "none twisted.",
    )
    for top, six in ((40.0, False), (118.0, True)):
        sheet.heading(10, top, "six wires: cables longer than 3 m" if six else "four wires: cables up to 3 m")
        y0 = top + 30
        sheet.rect(18, y0 - 22, 52, 44, weight_mm=HEAVY_mm, round_mm=4)
        sheet.text(44, y0 - 24, "cell", anchor="middle", bold=True, size_mm=SMALL_mm)
        bridge(sheet, 44, y0, 14)
        levels = [y0 - 15, y0 - 9, y0 - 3, y0 + 3, y0 + 9, y0 + 15] if six else [y0 - 12, y0 - 4, y0 + 4, y0 + 12]
        names = ["E+", "F+", "S+", "S-", "F-", "E-"] if six else ["E+", "S+", "S-", "E-"]
        box(sheet, 178, y0 - 22, 40, 44, "converter")
        pins(sheet, 178, levels, names, side="left")
        # The screen around the wires, and the wires.
        sheet.rect(88, y0 - 19, 66, 38, round_mm=19, weight_mm=INK_mm, dash="hidden")
        top_y, bottom_y, left_x, right_x = y0 - 14, y0 + 14, 30, 58
        wire(sheet, (44, top_y), (44, min(levels[0], top_y)), (66, levels[0]), (178, levels[0]))
        wire(sheet, (44, bottom_y), (66, levels[-1]), (178, levels[-1]))
        s_plus, s_minus = (levels[2], levels[3]) if six else (levels[1], levels[2])
        wire(sheet, (right_x, y0), (66, s_plus), (178, s_plus))
        wire(sheet, (left_x, y0), (left_x, y0 + 19), (73, y0 + 19), (73, s_minus), (178, s_minus))
        if six:
            wire(sheet, (66, levels[0]), (72, levels[1]), (178, levels[1]))
            wire(sheet, (66, levels[-1]), (72, levels[4]), (178, levels[4]))
            sheet.dot(66, levels[0])
            sheet.dot(66, levels[-1])
        wire(sheet, (154, y0 + 8), (161, y0 + 26), (198, y0 + 26), (198, y0 + 22), weight_mm=INK_mm, dash="hidden")
        sheet.dot(198, y0 + 22)
        sheet.text(121, y0 + 25.5, "E6 cable, twisted in pairs, with a shield", anchor="middle", size_mm=SMALL_mm)
        sheet.text(44, y0 + 27, "shield: not joined to the cell", anchor="middle", size_mm=SMALL_mm, colour=ATTENTION)
        sheet.text(163, y0 + 30.5, "shield: to ground here, and only here", size_mm=SMALL_mm, colour=ATTENTION)
    sheet.table(
        226,
        42,
        (13, 48),
        [
            ("name", "what it is"),
            ("E+, E-", "excitation: feeds the bridge"),
            ("S+, S-", "signal: about 2 mV per volt of"),
            ("", "excitation at rated load"),
            ("F+, F-", "feedback: what arrives of E"),
            ("shield", "screen of the cable"),
        ],
    )
    sheet.steps(
        226,
        76,
        (
            "Measure before joining: the pair with the highest resistance is E, the other S (for cells with "
            "compensation resistors; the sheet decides).",
            "A load in the measuring direction has to raise the count. If it falls, swap S+ and S-.",
            "Twist E+ with E-, S+ with S-.",
            "Six wires: F is joined to E inside the cell. At a converter without F only E and S are used, and "
            "the cable is never shortened after calibration.",
            "Every pair of plug and socket near a cell is one more joint in a millivolt signal: best is none.",
        ),
        columns=40,
    )
    return sheet


ROW_mm = 22.0


def low_cost() -> Sheet:
    """Return six single-channel converters on one clock line."""
    sheet = Sheet(
        "low-cost",
        "Low-cost converters: one per cell, one clock line for all",
        "Each converter gives its own data line; all are clocked together. 80 readings per second.",
        "No scale. Pins as in the firmware's settings (board_settings.py): numbers of the GPIO lines, not of the legs. "
        "Lines inside the box up to 300 mm.",
    )
    cells = ("bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr")
    top = 44.0
    clock_x, feed_x, zero_x = 150.0, 158.0, 166.0
    board_x = 200.0
    last = top + ROW_mm * (len(cells) - 1)
    box(sheet, board_x, top - 4, 44, last - top + 36, "E1 board, RP2040")
    for i, name in enumerate(cells):
        y = top + ROW_mm * i
        sheet.rect(14, y, 22, 14, weight_mm=HEAVY_mm, round_mm=2)
        sheet.text(25, y + 6.3, f"cell {i}", anchor="middle", size_mm=SMALL_mm)
        sheet.text(25, y + 10.8, name, anchor="middle", size_mm=2.3)
        for k in range(4):
            wire(sheet, (36, y + 2.5 + 3 * k), (78, y + 2.5 + 3 * k), weight_mm=0.25)
        sheet.rect(44, y + 0.5, 26, 13, round_mm=6.5, dash="hidden", weight_mm=INK_mm)
        sheet.rect(78, y - 1, 44, 16, weight_mm=HEAVY_mm, fill=PAPER)
        sheet.text(80, y + 5.5, "E2 converter", size_mm=SMALL_mm)
        sheet.text(80, y + 10, f"number {i}", size_mm=SMALL_mm)
        levels = [y + 1, y + 5, y + 9, y + 13]
        pins(sheet, 122, levels, ["DATA", "CLK", "3.3 V", "GND"], side="right")
        wire(sheet, (122, levels[0]), (board_x, levels[0]))
        wire(sheet, (122, levels[1]), (clock_x, levels[1]), weight_mm=0.5)
        wire(sheet, (122, levels[2]), (feed_x, levels[2]), weight_mm=0.25)
        wire(sheet, (122, levels[3]), (zero_x, levels[3]), weight_mm=0.25)
        for x, level in ((clock_x, levels[1]), (feed_x, levels[2]), (zero_x, levels[3])):
            sheet.dot(x, level, r=0.7)
        pins(sheet, board_x, [levels[0]], [f"DATA{i}  {pin('DATA_PINS', i)}"], side="left")
    # The three common lines.
    y_clk, y_feed, y_zero = last + 20, last + 24, last + 28
    wire(sheet, (clock_x, top + 5), (clock_x, y_clk), (board_x, y_clk), weight_mm=0.5)
    wire(sheet, (feed_x, top + 9), (feed_x, y_feed), (board_x, y_feed), weight_mm=0.25)
    wire(sheet, (zero_x, top + 13), (zero_x, y_zero), (board_x, y_zero), weight_mm=0.25)
    pins(sheet, board_x, [y_clk, y_feed, y_zero], [f"CLK  {pin('CLK_PIN')}", "3.3 V", "GND"], side="left")
    resistor(sheet, 189, y_clk, upright=False)
    sheet.lead((189, y_clk - 1.3), (190, y_clk - 9.5), "E13", size_mm=SMALL_mm, anchor="start")
    wire(sheet, (clock_x, y_clk), (clock_x, y_clk + 4))
    resistor(sheet, clock_x, y_clk + 7.5, upright=True)
    wire(sheet, (clock_x, y_clk + 11), (clock_x, y_clk + 14))
    ground(sheet, clock_x, y_clk + 14)
    sheet.text(clock_x - 3, y_clk + 8.5, "E12", size_mm=SMALL_mm, anchor="end")
    wire(sheet, (244, top + 20), (252, top + 20))
    sheet.text(246, top + 17.5, "USB to the computer, E8", size_mm=SMALL_mm)
    sheet.steps(
        248,
        top + 32,
        (
            "Converters at 3.3 V: their data lines then fit the board's inputs, which bear no 5 V.",
            "Pin RATE of each converter high: 80 per second. As delivered many modules stand at 10.",
            "E12, 10 kΩ: keeps the clock low while the board restarts. A clock that stays high for 60 µs "
            "switches the converters off.",
            "E13, 100 Ω at the board: calms the edges on the long clock line.",
            "Gain 128: full scale 20 mV at 5 V, less at 3.3 V in proportion; a cell gives about 2 mV/V.",
            "A cell that is left out: take its channel out of the settings and of rig.toml.",
        ),
        columns=27,
    )
    return sheet


def reference() -> Sheet:
    """Return the simultaneous converter."""
    sheet = Sheet(
        "reference",
        "Reference converter: all cells at the same instant",
        "One simultaneous-sampling converter of 24 bits on SPI: no skew between the channels, up to 1000 per second.",
        "No scale. Pins as in the firmware's settings (board_settings.py): numbers of the GPIO lines, not of the legs. "
        "Values of the filter: examples, the converter's sheet decides.",
    )
    top, step = 46.0, 22.0
    cells = ("bar_left", "bar_right", "foot_fl", "foot_fr", "foot_rl", "foot_rr")
    box(sheet, 132, top - 6, 46, step * 6 + 2, "E3 converter")
    for i, name in enumerate(cells):
        y = top + step * i
        sheet.rect(14, y, 22, 14, weight_mm=HEAVY_mm, round_mm=2)
        sheet.text(25, y + 6.3, f"cell {i}", anchor="middle", size_mm=SMALL_mm)
        sheet.text(25, y + 10.8, name, anchor="middle", size_mm=2.3)
        sheet.rect(42, y + 0.5, 24, 13, round_mm=6.5, dash="hidden", weight_mm=INK_mm)
        for k, end in ((0, 72.0), (1, 132.0), (2, 132.0), (3, 72.0)):
            wire(sheet, (36, y + 2.5 + 3 * k), (end, y + 2.5 + 3 * k), weight_mm=0.25)
        for k in (1, 2):
            resistor(sheet, 96, y + 2.5 + 3 * k, upright=False)
        wire(sheet, (116, y + 5.5), (116, y + 6.4), weight_mm=0.25)
        wire(sheet, (116, y + 8.5), (116, y + 7.6), weight_mm=0.25)
        for off in (6.4, 7.6):
            sheet.line((114, y + off), (118, y + off), weight_mm=0.5)
        sheet.dot(116, y + 5.5, r=0.5)
        sheet.dot(116, y + 8.5, r=0.5)
        pins(sheet, 132, [y + 5.5, y + 8.5], [f"IN{i}+", f"IN{i}-"], side="left")
        sheet.dot(72, y + 2.5, r=0.6)
        sheet.dot(72 + 4, y + 11.5, r=0.6)
        wire(sheet, (72, y + 11.5), (76, y + 11.5), weight_mm=0.25)
    last = top + step * 5
    wire(sheet, (72, top + 2.5), (72, last + 17), (124, last + 17), weight_mm=0.4)
    wire(sheet, (76, top + 11.5), (76, last + 21), (124, last + 21), weight_mm=0.4)
    sheet.rect(124, last + 13.5, 54, 11, weight_mm=HEAVY_mm, fill=PAPER)
    sheet.text(151, last + 18, "excitation E+, E-", size_mm=SMALL_mm, anchor="middle")
    sheet.text(151, last + 22, "2.5 V, regulated, low drift", size_mm=SMALL_mm, anchor="middle")
    sheet.lead((96, top + 4.4), (92, top - 5), "E10, 2 x 1 kΩ", size_mm=SMALL_mm, anchor="end")
    sheet.lead((116, top + 6.4), (112, top - 5), "E11, 10 nF", size_mm=SMALL_mm, anchor="start")
    box(sheet, 206, top - 6, 32, 62, "E1 board, RP2040")
    lines = (("SCLK", "r"), ("MOSI", "r"), ("MISO", "l"), ("CS", "r"), ("DRDY", "l"), ("RESET", "r"))
    for k, (name, way) in enumerate(lines):
        y = top + 2 + 8 * k
        wire(sheet, (178, y), (206, y))
        pins(sheet, 178, [y], [name], side="right")
        pins(sheet, 206, [y], [f"{name}  {pin(f'{name}_PIN')}"], side="left")
        # The direction of the signal: from the board, or to it.
        sheet.arrow(190 if way == "r" else 194, y, 180 if way == "r" else 0, size_mm=2.2)
    for y, name in ((top + 49, "3.3 V"), (top + 53, "GND")):
        wire(sheet, (178, y), (206, y), weight_mm=0.25)
        pins(sheet, 178, [y], [name], side="right")
        pins(sheet, 206, [y], [name], side="left")
    wire(sheet, (238, top + 4), (246, top + 4))
    sheet.text(247, top + 5, "USB, E8", size_mm=SMALL_mm)
    sheet.steps(
        206,
        top + 66,
        (
            "The firmware measures against the converter's own reference, so a drift of the excitation is a drift of "
            "the span: feed the bridges from a reference-grade regulator (10 ppm/K or better, 60 mA).",
            "The filter sits at the converter's pins, both resistors of a pair alike to 1 percent.",
            "DRDY is the interrupt: one edge per reading of all channels. RESET high in use.",
            "SPI lines up to 150 mm beside a ground line each, inside the box.",
            "Analogue and digital ground meet once, below the converter.",
            "Channels 6 and 7: inputs joined; the settings count six cells.",
            "The converter's clock: an oscillator beside it, usually 8.192 MHz; its value stands in the settings.",
        ),
        columns=46,
    )
    return sheet


def power() -> Sheet:
    """Return power, isolation, shield and ground of the whole rig."""
    sheet = Sheet(
        "power-and-ground",
        "Power, isolation, shield and ground",
        "Nothing on the rig has a way to the mains: one insulated supply, five volts, one point of ground.",
        "No scale. Supplies: safety extra-low voltage with doubled or reinforced insulation, marked by their maker.",
    )
    y = 74.0
    box(sheet, 12, y - 16, 34, 32, "mains")
    sheet.text(29, y - 3, "socket with\nresidual-current\ndevice", anchor="middle", size_mm=SMALL_mm)
    box(sheet, 64, y - 16, 38, 32, "C2 supply")
    sheet.text(83, y - 5, "5 V, insulated\n(double square)", anchor="middle", size_mm=SMALL_mm)
    box(sheet, 120, y - 16, 36, 32, "C1 computer")
    sheet.text(138, y - 1, "away from\nthe rig", anchor="middle", size_mm=SMALL_mm)
    box(sheet, 174, y - 16, 26, 32, "E9 USB isolator")
    sheet.line((187, y - 14), (187, y + 14), weight_mm=0.6, dash="hidden", colour=ATTENTION)
    box(sheet, 222, y - 26, 62, 52, "E4 box on the rig")
    sheet.rect(226, y - 20, 24, 16)
    sheet.text(238, y - 11, "E1 board", anchor="middle", size_mm=SMALL_mm)
    sheet.rect(256, y - 20, 24, 16)
    sheet.text(268, y - 11, "converter", anchor="middle", size_mm=SMALL_mm)
    wire(sheet, (250, y - 12), (256, y - 12))
    for a, b in ((46, 64), (102, 120), (156, 174), (200, 222)):
        wire(sheet, (a, y), (b, y), weight_mm=0.5)
    wire(sheet, (222, y), (231, y), (231, y - 4), weight_mm=0.5)
    sheet.text(161, y - 2, "E8", size_mm=SMALL_mm)
    sheet.text(207, y - 2, "E8", size_mm=SMALL_mm)
    sheet.dot(268, y + 10, r=1.2)
    wire(sheet, (238, y - 4), (238, y + 10), (268, y + 10), weight_mm=0.4)
    wire(sheet, (268, y - 4), (268, y + 14), weight_mm=0.4)
    ground(sheet, 268, y + 14)
    sheet.text(271, y + 9, "one point\nof ground", size_mm=2.3)
    # Cells below.
    for i, x in enumerate((150.0, 190.0, 230.0)):
        sheet.rect(x, y + 62, 20, 12, weight_mm=HEAVY_mm, round_mm=2)
        sheet.text(x + 10, y + 69.3, "cell", anchor="middle", size_mm=SMALL_mm)
        up = 260 + 8 * i
        wire(sheet, (x + 10, y + 62), (x + 10, y + 44 + 5 * i), (up, y + 44 + 5 * i), (up, y + 26))
        sheet.rect(up - 2.5, y + 27.5, 5, 12, round_mm=2.5, dash="hidden")
    wire(sheet, (258, y + 33), (248, y + 33), (248, y + 26), dash="hidden", colour=ATTENTION)
    wire(sheet, (248, y + 26), (248, y + 10), dash="hidden", colour=ATTENTION)
    sheet.lead(
        (252, y + 33),
        (236, y + 33),
        "shields: joined to ground here,\ncut off short at the cells",
        size_mm=SMALL_mm,
        colour=ATTENTION,
        anchor="end",
    )
    sheet.lead(
        (187, y + 8), (187, y + 24), "no wire crosses this line", size_mm=SMALL_mm, colour=ATTENTION, anchor="middle"
    )
    sheet.steps(
        12,
        y + 34,
        (
            "No mains inside any box of the rig, and no mains cable where a person could fall.",
            "One way to ground: shields and grounds meet in the box, not at the frame, not at a second supply.",
            "The isolator breaks the loop through a computer with an earthed supply or a network cable. A computer "
            "on a battery needs none.",
            "Fuse E16, 0.5 A, in the 5 V wire where it enters the box; the whole rig takes less than 200 mA.",
            "Cable of the cells away from motors, dimmers and phone chargers, and across mains cables, not along them.",
            "Test: readings of an empty rig must not change by more than their noise when the computer's supply is "
            "unplugged or a hand is laid on the frame.",
        ),
        columns=68,
    )
    sheet.text(150, y + 80, "The frame is not part of any circuit.", size_mm=SMALL_mm, colour=QUIET)
    return sheet
