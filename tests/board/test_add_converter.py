"""A converter that nobody has made is added as DEVELOPERS.md says: its module, and a line in the registry."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_board import FIRMWARE, InventedBoard, needs_micropython, run_micropython
from overhearing import Overhearing, check_nothing_lost_silently

from firmware_bridge.link import LinkSource

TOY = """
import time

from converter import Converter

INTERVAL_us = 12_500


class Toy(Converter):
    def __init__(self, settings):
        super().__init__("TOY", settings.CHANNELS, None)
        self.rate_cHz = 8000
        self.delay_us = 10

    def begin(self):
        self._number, self.tick = 0, time.ticks_us()

    def end(self):
        pass

    def take(self, counts):
        if time.ticks_diff(time.ticks_us(), self.tick) < INTERVAL_us:
            return False
        self.tick += INTERVAL_us
        self._number += 1
        for channel in range(self.channels):
            counts[channel] = 8 * self._number + channel - 100_000
        return True
"""


def add_toy(folder: Path) -> None:
    (folder / "toy.py").write_text(TOY, encoding="utf-8")
    registry = (FIRMWARE / "converters.py").read_text(encoding="utf-8")
    line = '    "toy": "Toy",\n'
    edited = registry.replace("\n}\n", f"\n{line}}}\n", 1)
    assert len(edited.splitlines()) == len(registry.splitlines()) + 1
    (folder / "converters.py").write_text(edited, encoding="utf-8")


@needs_micropython
def test_a_converter_is_added_by_a_module_and_a_line(tmp_path: Path) -> None:
    add_toy(tmp_path)
    with (
        InventedBoard(tmp_path, {"CONVERTER": "toy", "CHANNELS": 3}, end_s=4) as board,
        Overhearing(LinkSource(board.port, silence_s=60.0)) as heard,
    ):
        board.wait_for_end()
        heard.wait_for_conversion(200)
    assert (heard.facts[0].converter, heard.facts[0].channels, heard.facts[0].rate_Hz) == ("TOY", 3, 80.0)
    check_nothing_lost_silently(heard)
    assert heard.lost == 0


@needs_micropython
@pytest.mark.parametrize("name", ["toy", "machine", ""])
def test_an_unknown_converter_is_refused_with_the_known_ones(name: str) -> None:
    script = f"""
import board_settings, converters
board_settings.CONVERTER = {name!r}
try:
    converters.build(board_settings)
except ValueError as error:
    print(error)
"""
    out = run_micropython(script, Path(__file__).parent / "shim")
    assert out == "board_settings.py: CONVERTER has to be one of shared_clock, simultaneous\n"


@needs_micropython
def test_only_the_driver_in_use_is_loaded() -> None:
    script = """
import sys
import board_settings, chips, converters
chips.Chips(board_settings.CLK_PIN, [])
board_settings.CONVERTER = "shared_clock"
converters.build(board_settings)
print("shared_clock" in sys.modules, "simultaneous" in sys.modules)
"""
    assert run_micropython(script, Path(__file__).parent / "shim").split() == ["True", "False"]
