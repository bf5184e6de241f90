"""The recorded curves, sent by a virtual board as counts over a pseudo-terminal: live and offline must agree.

Truth and limits: tests/recordings/curves (a rigid-body physics engine's noise-free simulation); 30 ms and 0.3 points
between live and offline are demands of the project, 1.2 s to the first sight of a hold too.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from table_rig import LONG_FRAME, table_rig

from firmware_bridge.virtual_board import VirtualBoard
from monitor.analysis import analyse_file
from monitor.demo import curve_conversions
from monitor.newtons.curve_file import read_curve

CURVES = sorted((Path(__file__).parents[1] / "recordings" / "curves").glob("*.csv.gz"))
SPEED = 25.0
SHOWN_WITHIN_S = 1.2
SAME_S = 0.030
SAME_SHARE = 0.003


def test_there_are_curves() -> None:
    assert len(CURVES) == 8


@pytest.mark.parametrize("path", CURVES, ids=lambda p: p.name.split("_")[0])
def test_live_holds_equal_the_offline_ones(path: Path, tmp_path: Path) -> None:
    curve = read_curve(path)
    offline = analyse_file(path).result
    played = curve_conversions(curve.t_s, curve.load_N, curve.rig.names)
    board = VirtualBoard(
        played.conversions,
        channels=len(curve.rig.channels),
        rate_Hz=played.rate_Hz,
        speed=SPEED,
        samples_per_frame=LONG_FRAME,
        clock_error_ppm=35.0,
    )
    with table_rig(tmp_path / "data", board, curve.rig, played.calibration, speed=SPEED) as table:
        table.play_to_the_end()
        assert table.first_board_s is not None
        # The first row of the curve and the first row on the wire are the same reading.
        offset_s = table.first_board_s - float(curve.t_s[0])
        holds = [h.result for h in table.store.list_holds(None, newest_first=False)]
        journals = list(table.folder.journals.rglob("*.journal"))
    assert len(holds) == len(offline.holds)
    for live, wanted in zip(holds, offline.holds, strict=True):
        assert live.onset_s - offset_s == pytest.approx(wanted.onset_s, abs=SAME_S)
        assert live.release_s - offset_s == pytest.approx(wanted.release_s, abs=SAME_S)
        assert live.alpha_mean == pytest.approx(wanted.alpha_mean, abs=SAME_SHARE)
        assert live.beta_mean == pytest.approx(wanted.beta_mean, abs=SAME_SHARE)
        shown = [p for p in table.pictures if p.hold is not None and p.t_s >= live.onset_s]
        first = shown[0]
        assert first.t_s - live.onset_s <= SHOWN_WITHIN_S
        settled = next(p for p in shown if p.hold is not None and p.t_s > live.onset_s + 4.0)
        assert settled.hold is not None
        assert settled.hold.onset_s == pytest.approx(live.onset_s, abs=SAME_S)
    assert len(journals) == 1
    recorded = analyse_file(journals[0]).result
    assert len(recorded.holds) == len(holds)
    for again, live in zip(recorded.holds, holds, strict=True):
        assert again.onset_s == pytest.approx(live.onset_s, abs=1e-6)
        assert again.alpha_mean == pytest.approx(live.alpha_mean, abs=1e-6)
    if not holds:
        assert all(p.hold is None or p.hold.provisional for p in table.pictures)
