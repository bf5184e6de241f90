"""What a maker reads: sheets, parts, rig descriptions and numbers of ``hardware/`` agree with each other."""

from __future__ import annotations

import csv
import json
import math
import re
import runpy
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from hardware.drawings import boxes, feet
from monitor.rig import STANDARD_CHANNELS, BadRig, STANDARD_GRAVITY_m_s2, load_rig

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
SHEETS = sorted(HARDWARE.rglob("*.svg"))
PAGES = sorted(HARDWARE.rglob("*.md"))
LOADS = (HARDWARE / "loads.md").read_text(encoding="utf-8")
ELECTRONICS = (HARDWARE / "electronics.md").read_text(encoding="utf-8")
RATING = json.loads((ROOT / "tests" / "reference" / "load_rating.json").read_text(encoding="utf-8"))
SVG = "{http://www.w3.org/2000/svg}"
CODE = re.compile(r"\b[LPEC]\d{1,2}\b")
BUILDS = {"all", "hangers", "rings", "platform", "low cost", "reference"}

by_name = pytest.mark.parametrize("sheet", SHEETS, ids=lambda p: p.stem)


def parts() -> list[dict[str, str]]:
    with (HARDWARE / "parts.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def codes() -> set[str]:
    return {row["item"].split()[0] for row in parts()}


def words(sheet: Path) -> str:
    return "\n".join("".join(text.itertext()) for text in ET.parse(sheet).iter(f"{SVG}text"))


def row_of(text: str, beginning: str) -> list[str]:
    """Return the cells of the one table row that begins so."""
    (line,) = [one for one in text.splitlines() if one.startswith(f"| {beginning}")]
    return [cell.strip() for cell in line.strip("|").split("|")][1:]


def test_there_are_sheets_of_every_kind() -> None:
    assert {p.parent.name for p in SHEETS} == {"mounts", "wiring", "enclosure"}
    assert len(SHEETS) >= 12


# Sheets


@by_name
def test_a_sheet_is_a_page_with_a_title_and_asks_for_nothing_outside(sheet: Path) -> None:
    text = sheet.read_text(encoding="utf-8")
    root = ET.fromstring(text)
    assert root.tag == f"{SVG}svg"
    assert (root.get("width"), root.get("height")) == ("297mm", "210mm")
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text
    assert not re.search(r"href|url\(|@import|<image|<script|<foreignObject|<!ENTITY|<!DOCTYPE", text)
    assert re.findall(r"\w+://[^\"]*", text) == ["http://www.w3.org/2000/svg"]


@by_name
def test_every_word_and_line_of_a_sheet_lies_on_the_paper(sheet: Path) -> None:
    root = ET.parse(sheet).getroot()
    spots = [(float(t.get("x", "nan")), float(t.get("y", "nan"))) for t in root.iter(f"{SVG}tspan")]
    for path in root.iter(f"{SVG}path"):
        # Absolute places only: the small letters of an arc are measured from where the pen is.
        for kind, numbers in re.findall(r"([MLC])([^A-Za-z]*)", path.get("d", "")):
            values = [float(n) for n in numbers.split()]
            assert len(values) % 2 == 0, kind
            spots += list(zip(values[::2], values[1::2], strict=True))
    for text in root.iter(f"{SVG}text"):
        for line in text.iter(f"{SVG}tspan") if "transform" not in text.attrib else ():
            # Half an em a letter is the usual width of a plain face (estimate); enough to see a line that runs out.
            width = 0.5 * float(text.get("font-size", "nan")) * len(line.text or "")
            left = {"start": 0.0, "middle": -0.5, "end": -1.0}[text.get("text-anchor", "start")] * width
            x = float(line.get("x", "nan")) + left
            spots += [(x, 100.0), (x + width, 100.0)]
    assert len(spots) > 30
    assert all(5 <= x <= 292 and 5 <= y <= 205 for x, y in spots)


@by_name
def test_a_sheet_is_legible_in_black_and_white(sheet: Path) -> None:
    # Contrast ratio of WCAG 2.2 (from memory): 4.5 for words. White itself is the paper.
    text = sheet.read_text(encoding="utf-8")
    inks = set(re.findall(r"#[0-9a-f]{6}", text)) - {"#ffffff"}
    assert "#1b1e23" in inks
    for ink in inks:
        channels = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert 1.05 / (luminance + 0.05) >= 4.5, ink


def test_the_sheets_are_what_the_program_draws(tmp_path: Path) -> None:
    script = (
        "import sys, pathlib\n"
        "from hardware.drawings import SHEETS\n"
        "for folder, draw in SHEETS:\n"
        "    sheet = draw()\n"
        "    pathlib.Path(sys.argv[1], f'{folder}+{sheet.name}.svg').write_text(sheet.svg(), encoding='utf-8')\n"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path)], cwd=ROOT, check=True, timeout=120)
    drawn = {path.name: path.read_text(encoding="utf-8") for path in tmp_path.iterdir()}
    stored = {f"{p.parent.name}+{p.name}": p.read_text(encoding="utf-8") for p in SHEETS}
    assert sorted(drawn) == sorted(stored)
    stale = [name for name in stored if drawn[name] != stored[name]]
    assert stale == [], "run: python -m hardware.drawings"


def test_every_sheet_and_rig_description_is_shown_by_a_page() -> None:
    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    for path in (*SHEETS, *sorted((HARDWARE / "rigs").glob("*.toml"))):
        assert f"/{path.name})" in text or f"({path.parent.name}/{path.name})" in text, path.name


# Parts


def test_the_parts_list_is_whole() -> None:
    with (HARDWARE / "parts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, strict=True))
    assert rows[0] == ["build", "item", "quantity", "function", "rating needed", "why", "note"]
    assert {len(row) for row in rows} == {7}
    for row in parts():
        assert row["build"] in BUILDS
        assert CODE.fullmatch(row["item"].split()[0])
        assert re.match(r"\d", row["quantity"])
        assert row["function"]
        assert row["rating needed"]
    assert {row["build"] for row in parts()} == BUILDS
    pairs = [(row["build"], row["item"]) for row in parts()]
    assert len(set(pairs)) == len(pairs)
    assert len(codes()) == len({row["item"] for row in parts()}), "one code, two names"


@pytest.mark.parametrize("path", [*SHEETS, *PAGES], ids=lambda p: p.name)
def test_every_part_that_is_named_stands_in_the_list(path: Path) -> None:
    text = words(path) if path.suffix == ".svg" else path.read_text(encoding="utf-8")
    assert set(CODE.findall(text)) - codes() == set()


def test_every_part_of_the_list_is_named_on_a_page() -> None:
    named = set(CODE.findall("\n".join(page.read_text(encoding="utf-8") for page in PAGES)))
    assert codes() - named == set()


@pytest.mark.parametrize("build", ["hangers", "rings", "platform"])
def test_the_page_of_a_build_names_all_parts_of_its_own(build: str) -> None:
    text = (HARDWARE / "builds" / f"{build}.md").read_text(encoding="utf-8")
    own = {row["item"].split()[0] for row in parts() if row["build"] == build}
    assert own
    assert own - set(CODE.findall(text)) == set()


@pytest.mark.parametrize("build", ["hangers", "rings"])
def test_what_hangs_has_a_second_path_and_a_rating_in_newtons(build: str) -> None:
    own = {row["item"].split()[0]: row for row in parts() if row["build"] == build}
    assert "L9" in own
    assert own["L9"]["quantity"] == own["L3"]["quantity"]
    for code in set(own) - {"L7"}:
        assert re.search(r"\d kN", own[code]["rating needed"]), code


# Rig descriptions


@pytest.mark.parametrize("name", ["hangers", "hangers_and_platform", "rings"])
def test_a_rig_description_is_one_that_the_monitor_reads(name: str) -> None:
    rig = load_rig(HARDWARE / "rigs" / f"{name}.toml")
    assert len(rig.bar_index) == 2
    assert len(rig.platform_index) == (4 if name.endswith("platform") else 0)
    assert rig.mount_rating_N == 3000
    for channel in rig.channels:
        part = {"bar": "L3", "platform": "P3"}[channel.part]
        (rated_kN,) = {
            re.match(r"rated (\d+) kN", row["rating needed"])[1]  # type: ignore[index]
            for row in parts()
            if row["item"].startswith(part)
        }
        assert channel.rated_N == 1000 * float(rated_kN)
    assert not rig.invented


def test_the_example_of_the_docs_bears_the_person_of_the_loads() -> None:
    text = (ROOT / "docs" / "rig-description.md").read_text(encoding="utf-8")
    example = tomllib.loads(re.findall(r"```toml\n(.*?)```", text, re.DOTALL)[0])
    weight_N = 130 * STANDARD_GRAVITY_m_s2
    for channel in example["channels"]:
        assert channel["rated_N"] >= {"bar": 2, "platform": 1}[channel["part"]] * weight_N
    assert example["mount_rating_N"] >= 2 * weight_N


def test_the_whole_rig_is_that_of_the_load_curves_and_of_the_sheets() -> None:
    rig = load_rig(HARDWARE / "rigs" / "hangers_and_platform.toml")
    assert [(c.name, c.part, c.x_m, c.y_m) for c in rig.channels] == [
        (c.name, c.part, c.x_m, c.y_m) for c in STANDARD_CHANNELS
    ]
    assert "1100" in words(HARDWARE / "mounts" / "hangers.svg").splitlines()
    platform = words(HARDWARE / "mounts" / "platform.svg").splitlines()
    assert {"500", "400"} <= set(platform)
    rings = load_rig(HARDWARE / "rigs" / "rings.toml")
    apart_mm = 1000 * (rings.channels[1].x_m - rings.channels[0].x_m)
    assert f"{apart_mm:.0f}" in words(HARDWARE / "mounts" / "rings.svg").splitlines()


def test_the_page_says_rightly_whether_the_monitor_takes_a_platform_by_itself() -> None:
    text = (HARDWARE / "builds" / "platform.md").read_text(encoding="utf-8")
    try:
        load_rig(HARDWARE / "rigs" / "platform.toml")
        problem = ""
    except BadRig as error:
        problem = error.what
    assert problem == ""
    assert "does not take a rig without a bar cell" not in text


# Numbers


def test_the_swing_table_is_the_reference_s() -> None:
    # tests/reference/load_rating.json: computed mechanics for kappa 0.83.
    published = RATING["mechanics"]["swing_peak_kappa_0.83"]
    angles = [cell.rstrip("°") for cell in row_of(LOADS, "swing to each side")]
    assert angles == list(published)
    shown = [float(cell) for cell in row_of(LOADS, "peak of the load")]
    assert shown == [round(value, 3) for value in published.values()]
    for angle, value in zip(angles, shown, strict=True):
        assert value == pytest.approx(1 + 2 * 0.83 * (1 - math.cos(math.radians(float(angle)))), abs=0.001)


def test_the_dynamic_factor_is_that_of_its_source() -> None:
    assert RATING["mechanics"]["suddenly_applied_load_factor"] == 2
    assert RATING["EN_1176_1_annex_A_playground"]["values"]["1"]["C"] == 2.0
    for kg in (60, 80, 100, 130, 150):
        weight = kg * STANDARD_GRAVITY_m_s2
        shown = [float(cell.rstrip(" N")) for cell in row_of(LOADS, f"{kg} kg")]
        assert shown == [round(weight), round(2 * weight), round(4 * weight)]
    rating_N = load_rig(HARDWARE / "rigs" / "hangers.toml").mount_rating_N
    assert rating_N is not None
    allowed_kg = math.floor(rating_N / 2 / STANDARD_GRAVITY_m_s2)
    assert f"allows {allowed_kg} kg" in LOADS


def test_the_sling_table_follows_from_its_formula() -> None:
    weight_kN = 130 * STANDARD_GRAVITY_m_s2 / 1000
    slacks = [float(cell.rstrip(" m")) for cell in row_of(LOADS, "slack h")]
    factors = [1 + math.sqrt(1 + 2 * h / 3) for h in slacks]
    assert row_of(LOADS, "F / W") == [f"{f:.2f}" for f in factors]
    assert row_of(LOADS, "F |") == [f"{f * weight_kN:.1f} kN" for f in factors]


@pytest.mark.parametrize(
    ("beginning", "outer_mm", "inner_mm"),
    [
        ("solid round steel 32 mm", 32.0, 0.0),
        ("solid round steel 30 mm", 30.0, 0.0),
        ("tube 33.7 x 3.2 mm", 33.7, 27.3),
    ],
)
def test_the_bar_table_follows_from_beam_bending(beginning: str, outer_mm: float, inner_mm: float) -> None:
    # Simply supported beam, load in the middle: M = F L / 4, deflection F L^3 / (48 E I) (textbook mechanics).
    load_N, length_mm, modulus_MPa = 2 * 130 * STANDARD_GRAVITY_m_s2, 1100.0, 210e3
    inertia_mm4 = math.pi / 64 * (outer_mm**4 - inner_mm**4)
    stress_MPa = load_N * length_mm / 4 * (outer_mm / 2) / inertia_mm4
    deflection_mm = load_N * length_mm**3 / (48 * modulus_MPa * inertia_mm4)
    assert row_of(LOADS, beginning)[:2] == [f"{stress_MPa:.0f} MPa", f"{deflection_mm:.1f} mm"]


def test_the_platform_cannot_be_tipped() -> None:
    # Moments about the load buttons (textbook mechanics); feet and board as drawn.
    weight_N = 130 * STANDARD_GRAVITY_m_s2
    board_N = 0.54 * 0.44 * 0.024 * 680 * STANDARD_GRAVITY_m_s2
    drawn = {
        "along x": (feet.BOARD_x_mm / 2, feet.CELL_x_mm, feet.FOOT_x_mm),
        "along y": (feet.BOARD_y_mm / 2, feet.CELL_y_mm, feet.FOOT_y_mm),
    }
    for way, (edge, button, foot) in drawn.items():
        pressed = edge - 15
        needed_N = weight_N * (pressed - button) / button
        lengths = [f"{length:.0f} mm" for length in (edge, button, foot, pressed)]
        assert row_of(LOADS, way) == [*lengths, f"{needed_N:.0f} N", f"{board_N:.0f} N"]
        assert needed_N < board_N
        assert foot > pressed
    # The base as a strip of 245 mm that stands out from the fixed end: F L^3 / (3 E I), E = 8 GPa.
    for high_mm, shown in ((feet.BASE_high_mm, "0.12"), (21, "0.35")):
        away_mm = feet.FOOT_x_mm - feet.CELL_x_mm + sum(feet.SCREWS_mm) / 2
        bent_mm = weight_N * away_mm**3 / (3 * 8000 * 245 * high_mm**3 / 12)
        assert f"{bent_mm:.2f}" == shown
        assert f"{shown} mm" in " ".join(LOADS.split())


def test_the_heights_of_the_platform_add_up() -> None:
    chain = [feet.FOOT_high_mm, feet.BASE_high_mm, feet.SPACER_high_mm, feet.BEAM_high_mm, feet.BUTTON_high_mm]
    chain += [feet.BOARD_high_mm, feet.GRIP_high_mm]
    platform = words(HARDWARE / "mounts" / "platform.svg")
    assert f"{sum(chain):.0f}" in platform.splitlines()
    rim_mm = sum(chain[2:]) + feet.RIM_above_mm
    assert f"{feet.RIM_wide_mm:.0f} x {rim_mm:.0f}" in platform
    section = words(HARDWARE / "mounts" / "platform-cell.svg").splitlines()
    for part in chain[:-1]:
        assert f"{part:.0f}" in section
    # Along the beam: end, two screws, button, free end.
    (near, far), free = feet.SCREWS_mm, feet.BEYOND_mm
    along = [feet.BEAM_long_mm - free - far, far - near, near, free]
    assert all(f"{part:.0f}" in section for part in along)
    assert f"{sum(along):.0f}" in section
    hangers = words(HARDWARE / "mounts" / "hangers.svg")
    (beside,) = set(re.findall(r"free: (\d+)", hangers))
    assert f"nothing within {float(beside) + feet.BASE_y_mm / 2:.0f}" in hangers
    assert "1150 mm free" in (HARDWARE / "builds" / "rings.md").read_text(encoding="utf-8")
    # Base, rim and gap leave the board its place, and the screw reaches through everything to its nut.
    assert feet.BASE_x_mm - 2 * (feet.RIM_wide_mm + feet.RIM_gap_mm) == feet.BOARD_x_mm
    assert feet.BASE_y_mm - 2 * (feet.RIM_wide_mm + feet.RIM_gap_mm) == feet.BOARD_y_mm
    nut_mm, plate_mm = 6.5, 3.0  # ISO 4032, M8: 6.8 at most (from memory); the back plate
    through_mm = feet.BEAM_high_mm + feet.SPACER_high_mm + feet.BASE_high_mm + plate_mm
    assert 70 - through_mm >= nut_mm
    assert 70 - (through_mm - plate_mm) < feet.FOOT_high_mm


def test_the_holes_of_the_boards_fit_what_is_screwed_to_them() -> None:
    sheet = words(HARDWARE / "mounts" / "platform-boards.svg").splitlines()
    for mark, what, x_mm, y_mm, kind in feet.HOLES:
        at = sheet.index(what)
        assert sheet[at - 1 : at + 4] == [mark, what, f"± {x_mm:.0f}", f"± {y_mm:.0f}", kind]
    near, far, stop, foot = ((x_mm, y_mm) for _mark, _what, x_mm, y_mm, _kind in feet.HOLES)
    # The screws of a spacer of 55 mm, counted from the beam's fixed end.
    end = feet.CELL_x_mm + feet.BEYOND_mm - feet.BEAM_long_mm
    assert 0 < far[0] - end < near[0] - end < 55
    # The stop's lock nut (15 mm over its corners at most, from memory) and the foot do not meet.
    assert math.dist(stop, foot) > feet.FOOT_wide_mm / 2 + 7.5
    # The foot lies whole below the base, the cup whole below the board, its screws 8 mm inside the edge.
    assert max(foot[0] - feet.BASE_x_mm / 2, foot[1] - feet.BASE_y_mm / 2) <= -feet.FOOT_wide_mm / 2
    off = feet.CUP_SCREWS_mm / math.sqrt(2)
    assert feet.BOARD_x_mm / 2 - feet.CELL_x_mm - off > 8
    assert feet.BOARD_y_mm / 2 - feet.CELL_y_mm - off > 8


def test_the_torques_follow_from_their_formula() -> None:
    rows = re.findall(r"^\| [LP]\d+: .*?\| M(\d+).*?\| (\d+) N m \| ([\d.]+) kN \|$", LOADS, re.MULTILINE)
    assert len(rows) == 5
    for thread_mm, torque_Nm, preload_kN in rows:
        assert float(torque_Nm) / (0.2 * float(thread_mm)) == pytest.approx(float(preload_kN), abs=0.05)
    # Rear screw at the rated 2 kN: lever about the spacer's edge, 55 mm from the beam's end.
    button, far, near = 130 - feet.BEYOND_mm - 55, 55 - 10, 55 - 39
    pull_kN = 2 * button / (far + near**2 / far)
    assert f"{pull_kN:.1f} kN" in LOADS
    assert pull_kN < 5.0


def test_the_box_leaves_room_for_what_is_in_it() -> None:
    inner = [boxes.LONG_mm - 2 * boxes.WALL_mm, boxes.WIDE_mm - 2 * boxes.WALL_mm, boxes.HIGH_mm - boxes.WALL_mm]
    (row,) = [row for row in parts() if row["item"].startswith("E4")]
    assert "inner " + " x ".join(f"{side:.0f}" for side in inner) in row["rating needed"]
    # A post's radius is 5.5; a nut M3 with its washer needs 3.5 mm at the end wall (from memory).
    assert inner[0] / 2 - boxes.POST_x_mm / 2 - 5.5 >= 3.5
    # Post 6, board 1.6, a module of 34 on end, the lid's lip 3.
    assert inner[2] > 6 + 1.6 + 34 + 3


def test_the_bridges_of_the_reference_converter_stay_within_its_inputs() -> None:
    # 1.8 V below the supply at gains above 4; full scale 1.2 V / gain (both from memory, as the page says).
    (excitation_V,) = {
        float(v) for v in re.findall(r"([\d.]+) V, regulated", words(HARDWARE / "wiring" / "reference.svg"))
    }
    (row,) = [row for row in parts() if row["item"].startswith("E3")]
    assert f"regulator of {excitation_V:g} V, 60 mA" in row["note"]
    assert f"Its bridges get {excitation_V:g} V" in ELECTRONICS
    assert excitation_V / 2 < 3.3 - 1.8
    full_scale_mV = 1200 / 128
    # Half as much again as the rated load, and a zero of a tenth of it, are still read.
    assert 1.6 * 2.0 * excitation_V < full_scale_mV
    current_mA = 6 * excitation_V / 350 * 1000
    assert f"at {excitation_V:g} V {current_mA:.0f} mA" in ELECTRONICS
    assert current_mA < 60


def test_the_connector_s_pins_are_the_wires_of_the_sheet() -> None:
    named = row_of(ELECTRONICS, "wire")
    sheet = set(words(HARDWARE / "wiring" / "cell-to-converter.svg").splitlines())
    assert named == ["E+", "E-", "S+", "S-", "F+", "F-", "shield"]
    assert set(named) <= sheet


def test_the_pins_on_page_and_sheets_are_the_firmware_s() -> None:
    pin = runpy.run_path(str(ROOT / "firmware_bridge" / "board" / "board_settings.py"))
    assert row_of(ELECTRONICS, "`CLK`")[0] == f"GP{pin['CLK_PIN']}"
    assert row_of(ELECTRONICS, "`DATA0`")[0] == ", ".join(f"GP{p}" for p in pin["DATA_PINS"])
    spi = [pin[f"{name}_PIN"] for name in ("SCLK", "MOSI", "MISO", "CS")]
    assert row_of(ELECTRONICS, "`SCLK`")[0] == ", ".join(f"GP{p}" for p in spi)
    assert row_of(ELECTRONICS, "`DRDY`")[0] == f"GP{pin['DRDY_PIN']}, GP{pin['RESET_PIN']}"
    low_cost = words(HARDWARE / "wiring" / "low-cost.svg").splitlines()
    assert [line.split()[1] for line in low_cost if re.match(r"DATA\d", line)] == [f"GP{p}" for p in pin["DATA_PINS"]]


def test_the_page_tells_the_cautions() -> None:
    text = " ".join((HARDWARE / "README.md").read_text(encoding="utf-8").split())
    for needed in (
        "No published rating was found here for a domestic door frame",
        "Local building codes",
        "maker's rating",
        "No children unattended",
        "Inspection",
        "pregnancy",
        "ask a clinician",
    ):
        assert needed in text
    assert text.index("Cautions first") < text.index("Which build for whom")
