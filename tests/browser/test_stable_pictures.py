"""A few screens that show the same every time are compared with their pictures in ``tests/browser/pictures``.

Both are brought down to blocks of 16 by 16 pixels, so that another rendering of the same letters counts little: a block
differs when its mean colour is off by more than a tenth of the scale, and at most 1 % of the blocks may.
``HANG_MONITOR_REMAKE=1 pytest tests/browser/test_stable_pictures.py`` makes the pictures anew; look at them before
they are kept.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page
from screen_states import AT_THE_BAR, State, settle, shown


def plain_font() -> str:
    """Return the file of the font that a page gets which asks for none by name, empty where that is not told."""
    result = shutil.which("fc-match")
    return "" if result is None else subprocess.run([result, "system-ui"], capture_output=True, text=True).stdout


pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        "DejaVuSans" not in plain_font(),
        reason="the pictures have DejaVu Sans, Debian's own; other letters break lines elsewhere",
    ),
]

PICTURES = Path(__file__).parent / "pictures"
BLOCK_PX = 16
OFF = 0.1
MOST = 0.01
HANGING = next(state for state in AT_THE_BAR if state.name == "hanging")
STABLE = {
    "hold-day": (State("hold", "/hold/{uid}"), "tablet", "light"),
    "hold-night-phone": (State("hold", "/hold/{uid}"), "phone", "dark"),
    "hanging-tablet": (HANGING, "tablet", "light"),
    "people": (State("people", "/people"), "tablet", "light"),
}


def blocks(picture: Image.Image) -> np.ndarray:
    """Return the mean colours (rows, columns, 3) of blocks, 0 to 1."""
    wide, high = (length // BLOCK_PX for length in picture.size)
    pixels = np.asarray(picture.convert("RGB"), dtype=float)[: high * BLOCK_PX, : wide * BLOCK_PX] / 255
    return pixels.reshape(high, BLOCK_PX, wide, BLOCK_PX, 3).mean(axis=(1, 3))


def differing(one: Image.Image, other: Image.Image) -> float:
    """Return the share of the blocks that differ."""
    assert one.size == other.size
    return float((np.abs(blocks(one) - blocks(other)).max(axis=2) > OFF).mean())


def taken(page: Page) -> Image.Image:
    return Image.open(io.BytesIO(page.screenshot(animations="disabled", caret="hide")))


@pytest.mark.parametrize("name", STABLE)
def test_the_screen_looks_as_it_did(open_page, hall, name):
    state, viewport, light = STABLE[name]
    options = {"viewport": viewport, "color_scheme": light, "timezone_id": "Europe/Vienna"}
    path = PICTURES / f"{name}.png"
    with shown(open_page, hall, state, **options) as page:
        settle(page)
        now = taken(page)
        if os.environ.get("HANG_MONITOR_REMAKE"):
            PICTURES.mkdir(exist_ok=True)
            now.convert("RGB").quantize(48, dither=Image.Dither.NONE).save(path, optimize=True)
        stored = Image.open(path)
        assert differing(now, stored) <= MOST
        # What is drawn makes the difference, and not the paper alone: a screen without it is told apart.
        hide = "(all) => all.forEach((one) => (one.style.visibility = 'hidden'))"
        page.eval_on_selector_all("main svg, main svg *, main p, main form, .time, h1", hide)
        assert differing(taken(page), stored) > MOST
