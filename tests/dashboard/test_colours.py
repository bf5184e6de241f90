"""Colours are read by everyone: contrast, and three accents that stay three for colour-blind readers."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from monitor.dashboard.app import STATIC

CSS = (STATIC / "css" / "page.css").read_text(encoding="utf-8")
BLOCKS = [
    dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block)) for block in re.findall(r"\{([^{}]*--paper: #[^{}]*)\}", CSS)
]
DAY, NIGHT = BLOCKS[0], BLOCKS[1]
LIGHTS = pytest.mark.parametrize("light", [DAY, NIGHT], ids=["day", "night"])

# Machado, Oliveira, Fernandes 2009 (IEEE TVCG 15(6)), severity 1.0, on linear RGB; digits from memory.
BLINDNESS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    """Linear RGB by the sRGB transfer curve (IEC 61966-2-1; from memory)."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio (L1 + 0.05) / (L2 + 0.05) of WCAG 2.2 (from memory)."""
    low, high = sorted(float(np.dot([0.2126, 0.7152, 0.0722], linear(c))) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear RGB, white D65 (from memory)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    x, y, z = (np.cbrt(v) if v > 0.008856 else 7.787 * v + 16 / 116 for v in xyz / [0.9505, 1.0, 1.089])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_formulas_give_known_values():
    # WCAG 2.2: black on white is 21:1; #767676 is the lightest grey with 4.5:1 on white (common practice, no source).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert 4.5 <= contrast("#767676", "#ffffff") < 4.6
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.05)


def test_both_ways_into_the_night_have_the_same_colours():
    assert BLOCKS[1] == BLOCKS[2]
    assert len(BLOCKS) == 3
    assert set(DAY) == set(NIGHT) == {"paper", "ink", "quiet", "hair", "hands", "feet", "attention"}


@LIGHTS
@pytest.mark.parametrize("name", ["ink", "quiet", "hands", "feet", "attention"])
def test_text_has_contrast_aa(light, name):
    # WCAG 2.2 criterion 1.4.3 (AA): 4.5:1 for text of any size (from memory).
    assert contrast(light[name], light["paper"]) >= 4.5


@LIGHTS
@pytest.mark.parametrize("kind", BLINDNESS)
def test_accents_stay_apart_for_colour_blind_readers(light, kind):
    last_number = {
        n: lab(np.clip(np.array(BLINDNESS[kind]) @ linear(light[n]), 0, 1)) for n in ("hands", "feet", "attention")
    }
    for one, other in itertools.combinations(last_number.values(), 2):
        # A difference of 2.3 is just noticeable (Mahy et al. 1994; from memory); ten of them are seen at a glance.
        assert np.linalg.norm(one - other) > 23


def test_the_wall_has_contrast_aaa():
    # WCAG 2.2 criterion 1.4.6 (AAA): 7:1 for text of any size (from memory).
    live = (STATIC / "css" / "live.css").read_text(encoding="utf-8")
    blocks = [
        dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block))
        for block in re.findall(r"\{([^{}]*--feet: #[^{}]*)\}", live)
    ]
    assert len(blocks) == 3
    assert blocks[1] == blocks[2], "both ways into the night have the same colours"
    for light, changed in ((DAY, blocks[0]), (NIGHT, blocks[1])):
        on_the_wall = {**light, **changed}
        for name in ("ink", "quiet", "hands", "feet", "attention"):
            assert contrast(on_the_wall[name], light["paper"]) >= 7.0, name
