"""The plot: what stands on it, that it is always the same, and that no peak or gap is lost on the way to paper."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_samples import BARE_RESULT, FULL_RESULT

from monitor.records.session_result import Quality, SessionResult
from monitor.reports import PlotNotWritten, curve_svg, notebook, plot_curve
from monitor.reports.page import minutes
from monitor.reports.plot import curve_figure, notebook_settings

ROOT = Path(__file__).parents[2]
W = 702.4


def record(holds=(FULL_RESULT,), bodyweight_N: float | None = W) -> SessionResult:
    return SessionResult(bodyweight_N, None if bodyweight_N is None else 0.6, list(holds), Quality(4000, 3, 2, 80.02))


def curve(duration_s: float = 50.0):
    """Return an invented person: stands, hangs from 12.31 s to 44.87 s with a hard catch, stands."""
    t_s = np.arange(0.0, duration_s, 1 / 80)
    hangs = (t_s > 12.31) & (t_s < 44.87)
    bar_N = np.where(hangs, 0.88 * W, 0.0)
    bar_N[np.searchsorted(t_s, 12.5)] = 2000.0
    return t_s, bar_N, np.where(hangs, 0.12 * W, W)


def words_of(svg: bytes) -> list[str]:
    return ["".join(e.itertext()).strip() for e in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_the_numbers_stand_on_the_page_as_text():
    flagged = replace(FULL_RESULT, flags=["kind_from_travel", "never_settled"])
    words = words_of(curve_svg("Tuesday & <evening> $x_1$", *curve(), record([flagged])))
    for wanted in (
        "Tuesday & <evening> $x_1$",
        "32.560 ± 0.012 s",
        "passive, assisted, hands 88.00 ± 0.10 %, feet 12.00 ± 0.08 %",
        "hands",
        "feet",
        "bodyweight",
        "load (N)",
        "time (s)",
        "swing (°)",
        "2000 N",
        "↑ 48.0 ± 1.5",
        "Noted: kind_from_travel; the bar was never quiet.",
    ):
        assert wanted in words, wanted
    for track in ("shoulders", "travel (mm)", "foot touches (%)", "regrips (s)", "hand changes", "third support (%)"):
        assert track in words, track
    assert any(w.startswith("bodyweight 702.4 ± 0.6 N") and "3 lost, 2 wild ones masked" in w for w in words)


def test_what_is_not_there_is_not_drawn():
    t_s, bar_N, _ = curve()
    words = words_of(curve_svg("bare", t_s, bar_N, None, record([BARE_RESULT], None)))
    assert "hands" in words
    assert not {"feet", "bodyweight", "swing (°)", "shoulders", "third support (%)"} & set(words)
    assert any(w.startswith("bodyweight not known") for w in words)
    assert not any(w.startswith("Noted") for w in words)


def test_the_edges_stand_where_the_hold_began_and_ended():
    with notebook_settings():
        figure = curve_figure("edges", *curve(), record())
        figure.draw_without_rendering()
        edges = [line for line in figure.artists if len(line.get_xdata()) == 2]
        assert [line.get_xdata()[0] for line in edges] == [12.31, 44.87]
        # On the page they meet the time axis at these seconds.
        to_page = figure.axes[-1].transData
        for line in edges:
            x_px = line.get_transform().transform(line.get_xydata())[:, 0]
            assert x_px == pytest.approx([to_page.transform((line.get_xdata()[0], 0.0))[0]] * 2)


def test_the_same_input_gives_the_same_bytes_and_no_date():
    first, second = (curve_svg("again", *curve(), record()) for _ in range(2))
    assert first == second
    assert b"dc:date" not in first
    assert b"Matplotlib" not in first


def test_threads_do_not_disturb_each_other_nor_the_librarys_settings():
    before = dict(mpl.rcParams)
    wanted = curve_svg("threads", *curve(), record())
    drawn: list[bytes] = []
    threads = [
        threading.Thread(target=lambda: drawn.append(curve_svg("threads", *curve(), record()))) for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert drawn == [wanted] * 3
    assert dict(mpl.rcParams) == before


def test_the_drawing_library_is_loaded_only_when_something_is_drawn_and_its_global_figures_never():
    code = """
import sys
import monitor.reports
assert "matplotlib" not in sys.modules
import numpy as np
from monitor.records.session_result import Quality, SessionResult
monitor.reports.curve_svg("", np.arange(9.0), np.zeros(9), None, SessionResult(None, None, [], Quality(9, 0, 0, None)))
assert "matplotlib" in sys.modules and "matplotlib.pyplot" not in sys.modules
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_a_curve_of_few_readings_is_still_a_page(rows):
    svg = curve_svg("short", np.arange(float(rows)), np.full(rows, 5.0), np.full(rows, np.nan), record([]))
    assert any(w.endswith("no hold") for w in words_of(svg))


def test_failed_readings_and_a_title_of_control_characters_do_no_harm():
    t_s, bar_N, feet_N = curve()
    bar_N[100:200] = np.nan
    words = words_of(curve_svg("a\x00b\x1b[31m\ud800" + "long " * 60, t_s, bar_N, feet_N, record()))
    assert any(w.startswith("a b [31m") and len(w) <= 90 for w in words)


def test_many_short_holds_are_labelled_with_their_seconds():
    holds = [
        type(BARE_RESULT)(onset_s=k * 100.0, release_s=k * 100.0 + 8, duration_s=8.0, duration_u_s=0.01)
        for k in range(12)
    ]
    t_s = np.arange(0, 1200, 0.1)
    words = words_of(curve_svg("many", t_s, np.zeros(len(t_s)), None, record(holds)))
    assert words.count("8.0 s") == 12
    assert "time (min:s)" in words
    assert {"0:00", "2:00", "20:00"} <= set(words)


def test_lengths_that_differ_are_refused():
    with pytest.raises(ValueError, match="same length"):
        curve_svg("x", np.zeros(3), np.zeros(2), None, record())


def test_a_file_that_cannot_be_written_is_reported(tmp_path):
    path = tmp_path / "plot.svg"
    plot_curve(path, "file", *curve(), record())
    assert path.read_bytes() == curve_svg("file", *curve(), record())
    with pytest.raises(PlotNotWritten, match="nowhere"):
        plot_curve(tmp_path / "nowhere" / "plot.svg", "file", *curve(), record())


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), rows=st.integers(1, 3000), points=st.integers(20, 500))
def test_thinning_keeps_peaks_ends_and_gaps(seed, rows, points):
    random = np.random.default_rng(seed)
    steps_s = np.where(random.random(rows) < 0.002, 1.0, 0.0125)
    t_s, load_N = np.cumsum(steps_s), random.normal(0, 100, rows)
    load_N[random.random(rows) < 0.05] = np.nan
    thin_t, thin_N = notebook.thinned(t_s, load_N, points)
    gaps = np.flatnonzero(np.diff(t_s) > notebook.GAP_s)
    assert np.all(np.diff(thin_t) >= 0)
    assert (thin_t[0], thin_t[-1]) == (t_s[0], t_s[-1])
    if np.any(np.isfinite(load_N)):
        assert (np.nanmin(thin_N), np.nanmax(thin_N)) == (np.nanmin(load_N), np.nanmax(load_N))
    for gap in gaps:
        between = (thin_t >= t_s[gap]) & (thin_t < t_s[gap + 1])
        assert np.isnan(thin_N[between][-1]), "no line may bridge a gap"
    # Two points a stretch; both ends and a break for each piece.
    assert len(thin_t) <= (rows if rows <= points else points) + 5 * (len(gaps) + 1)
    drawn = set(zip(thin_t[np.isfinite(thin_N)].tolist(), thin_N[np.isfinite(thin_N)].tolist(), strict=True))
    assert drawn <= set(zip(t_s.tolist(), load_N.tolist(), strict=True)), "no reading is invented"


def test_no_line_runs_back_where_a_board_restarted():
    t_s, load_N = np.array([5.0, 5.0125, 0.0, 0.0125]), np.array([1.0, 2.0, 3.0, 4.0])
    thin_t, thin_N = notebook.thinned(t_s, load_N)
    assert thin_t.tolist() == [5.0, 5.0125, 5.0125, 0.0, 0.0125]
    assert np.isnan(thin_N).tolist() == [False, False, True, False, False]
    with notebook_settings():
        assert curve_figure("anew", t_s, load_N, None, record([])).axes[0].get_xlim() == (0.0, 6.0)


def luminance(colour: str) -> float:
    """Return the relative luminance as WCAG 2.2 defines it (from memory)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("name", ["INK", "QUIET", "HANDS", "FEET", "ATTENTION"])
def test_every_written_colour_has_the_contrast_that_small_text_needs(name):
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 : 1 (from memory).
    lighter, darker = luminance(notebook.PAPER), luminance(getattr(notebook, name))
    assert (lighter + 0.05) / (darker + 0.05) >= 4.5


@pytest.mark.parametrize("name", ["paper", "ink", "hands", "feet", "attention"])
def test_the_colours_are_those_of_the_page_by_day(name):
    css = (ROOT / "monitor" / "dashboard" / "static" / "css" / "page.css").read_text(encoding="utf-8")
    first = re.search(rf"--{name}:\s*(#[0-9a-fA-F]{{6}})", css)
    assert first is not None
    assert getattr(notebook, name.upper()).lower() == first[1].lower()


def test_minutes():
    assert [minutes(s) for s in (0, 59.6, 240, 3661, -30)] == ["0:00", "1:00", "4:00", "61:01", "−0:30"]
