"""The examples in docs/rig-description.md are files that the monitor reads, and its tables name what there is."""

from __future__ import annotations

import re
import tomllib
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.newtons.calibration import ChannelCalibration, load_calibration
from monitor.rig import STANDARD_CHANNELS, Channel, Rig, load_rig

DOC = (Path(__file__).parents[2] / "docs" / "rig-description.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```toml\n(.*?)^```$", DOC, flags=re.DOTALL | re.MULTILINE)


def example(tmp_path: Path, beginning: str) -> Path:
    """Write the one example that begins so into a file of its own."""
    (text,) = (e for e in EXAMPLES if e.startswith(beginning))
    path = tmp_path / "example.toml"
    path.write_text(text, encoding="utf-8")
    return path


def documented(heading: str) -> dict[str, tuple[str, str]]:
    """Return ``needed`` and ``when left out`` of every key in the table whose first header cell is ``heading``."""
    keys = {}
    for table in re.findall(rf"^\| {heading} \|.*?\n\|[- |]+\n((?:\|.*\n)+)", DOC, flags=re.MULTILINE):
        for row in table.splitlines():
            names, needed, _, left_out = (cell.strip() for cell in row.strip("|").split("|"))
            keys |= dict.fromkeys(re.findall(r"`(\w+)`", names), (needed, left_out))
    return keys


def test_the_whole_rig_is_read_as_the_text_describes_it(tmp_path: Path) -> None:
    rig = load_rig(example(tmp_path, 'name = "Hall 2'))
    assert rig.bar_index == (0, 1)
    assert rig.platform_index == (2, 3, 4, 5)
    assert [(c.name, c.part, c.x_m, c.y_m) for c in rig.channels] == [
        (c.name, c.part, c.x_m, c.y_m) for c in STANDARD_CHANNELS
    ]
    assert rig.mount_rating_N == 3000
    assert rig.delay_s(80.0) == 0.5 / 80  # "half a sample interval"


def test_the_rig_that_lacks_parts_is_read_and_has_the_stated_defaults(tmp_path: Path) -> None:
    rig = load_rig(example(tmp_path, 'name = "Garage'))
    assert not rig.has_platform
    assert rig.bar_index == (0,)
    table = documented("key")
    assert rig.nominal_rate_Hz == float(table["nominal_rate_Hz"][1])
    assert rig.gravity_m_s2 == float(table["gravity_m_s2"][1].split(",")[0])
    assert rig.mount_rating_N is None
    assert table["mount_rating_N"][1] == "not known"
    assert rig.invented is False


def test_the_calibration_is_read_and_gives_the_worked_number(tmp_path: Path) -> None:
    calibration = load_calibration(example(tmp_path, "id = "), names=["bar_right", "bar_left"])
    assert [c.channel for c in calibration.channels] == ["bar_right", "bar_left"]
    stated = re.search(r"A reading of ([\d ]+) counts .*= ([\d.]+) N\.", DOC)
    assert stated is not None
    counts = np.array([[0, int(stated[1].replace(" ", ""))]], dtype=np.int32)
    # (1 000 000 - 84 210) * 0.000702 = 642.88458 by hand
    assert calibration.newtons(counts)[0, 1] == pytest.approx(642.88458, abs=1e-9)
    assert f"{calibration.newtons(counts)[0, 1]:.1f}" == stated[2]


@pytest.mark.parametrize(
    ("heading", "kind"), [("key", Rig), ("key of a channel", Channel), ("key of a calibration", ChannelCalibration)]
)
def test_the_tables_name_every_key_and_whether_it_is_needed(heading: str, kind: Any) -> None:
    table = documented(heading)
    assert set(table) == {f.name for f in fields(kind)}
    needed = {f.name for f in fields(kind) if f.default is MISSING}
    assert {key for key, (word, _) in table.items() if word == "yes"} == needed


def test_every_example_is_valid_toml_and_all_were_tried() -> None:
    assert len(EXAMPLES) == 3
    for text in EXAMPLES:
        assert tomllib.loads(text)["channels"]
