"""The page, the report and the plot draw the same loads of the same hold; what they export is the same again."""

from __future__ import annotations

import csv
import io
from types import SimpleNamespace

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from numpy.typing import NDArray
from stored_sessions import keep_session, recorded

from monitor.analysis import analyse_file
from monitor.dashboard.routes.holds import holds_routes
from monitor.exports.hold_curve import hold_curve
from monitor.reports.person_report import _curve_chart
from monitor.reports.plot import curve_figure, notebook_settings
from monitor.store import DataFolder, open_store

PAGE_N, REPORT_N = 0.11, 0.2
"""The page rounds each cell to a tenth of a newton; the report's lines have 10,000 steps of height."""


def short_hold() -> NDArray[np.float64]:
    """Return a recording with the middle of its hang cut out, so that no view has to thin its curve."""
    t_s, load_N = recorded("s1")
    return load_N[(t_s < 18.0) | ((t_s > 37.0) & (t_s < 56.0))]


@pytest.fixture
def stored(tmp_path):
    """Return a store with a recorded hold, its folder, and the hold."""
    folder = DataFolder.open(tmp_path)
    with open_store(folder.database) as store:
        (hold,) = keep_session(store, folder, short_hold())
        yield SimpleNamespace(store=store, folder=folder, hold=hold)


@pytest.fixture
def client(stored):
    reader = SimpleNamespace(
        get_hold=stored.store.get_hold, hold_curve=lambda uid: hold_curve(stored.store, stored.folder, uid)
    )
    app = FastAPI()
    app.include_router(holds_routes(reader))
    return TestClient(app)


def page_line(client, hold):
    """Return times (s) and the sum of the hands (N) as the hold page draws them."""
    curve = client.get(f"/holds/{hold.uid}/curve?points=2000").json()
    assert curve["thinned"] is False
    loads = np.array([[np.nan if x is None else x for x in column] for column in curve["load_N"]])
    return np.array(curve["t_s"]), loads[0] + loads[1]


def plot_line(stored):
    """Return the line of the hands in the plot of ``analyse --plot``."""
    analysis = analyse_file(next(stored.folder.journals.rglob("*.journal")))
    curve = analysis.curve
    with notebook_settings():
        figure = curve_figure("plot", curve.t_s, curve.bar_N, curve.feet_N, analysis.result)
    (line,) = [line for axes in figure.axes for line in axes.lines if line.get_gid() == "hands"]
    return np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float)


def report_line(stored, hold):
    """Return the line of the hands in the report's chart, read off its axes."""
    session = stored.store.get_session(hold.session_uid)
    chart = _curve_chart(hold, session, hold_curve(stored.store, stored.folder, hold.uid), "N")
    (hands,) = [line for line in chart["lines"] if line["style"] == "hands"]
    points = np.array([point for piece in hands["pieces"] for point in piece])
    zero = next(y for y, label in chart["y"] if label == "0")
    onset, release = chart["edges"]
    t_s = hold.result.onset_s + (points[:, 0] - onset) / (release - onset) * hold.result.duration_s
    return t_s, (points[:, 1] - zero) / (chart["weight"] - zero) * hold.bodyweight_N


def test_the_three_views_draw_equal_loads_of_a_hold(stored, client):
    page_s, page_N = page_line(client, stored.hold)
    plot_s, plot_N = plot_line(stored)
    same_s = (plot_s > page_s[0] - 1e-3) & (plot_s < page_s[-1] + 1e-3)
    assert np.count_nonzero(same_s) == len(page_s)
    np.testing.assert_allclose(plot_N[same_s], page_N, atol=PAGE_N)
    report_s, report_N = report_line(stored, stored.hold)
    quiet = (report_s > stored.hold.result.onset_s + 3) & (report_s < stored.hold.result.release_s - 0.5)
    assert np.count_nonzero(quiet) > 200
    row = np.abs(page_s[None, :] - report_s[quiet, None]).argmin(axis=1)
    np.testing.assert_allclose(report_N[quiet], page_N[row], atol=PAGE_N + REPORT_N)


def test_a_curve_is_what_the_measurement_saw(stored, client):
    # The recorded truth has no zero: the 6 N that the cells of the bar read beside the load must be gone.
    result = stored.hold.result
    assert result.zero_bar_N == pytest.approx(6.0, abs=0.4)
    t_s, bar_N = page_line(client, stored.hold)
    assert np.nanmean(bar_N[t_s < result.onset_s - 2.0]) == pytest.approx(0.0, abs=0.3)
    inside = (t_s > result.onset_s) & (t_s < result.release_s)
    assert np.nanmean(bar_N[inside]) / stored.hold.bodyweight_N == pytest.approx(result.beta_mean, abs=0.001)


def test_an_exported_curve_has_the_loads_of_the_page(stored, client):
    rows = list(csv.DictReader(io.StringIO(client.get(f"/holds/{stored.hold.uid}/curve.csv").text)))
    exported_N = [[float(row[f"bar_{side}_N"] or "nan") for side in ("left", "right")] for row in rows]
    np.testing.assert_allclose(np.sum(exported_N, axis=1), page_line(client, stored.hold)[1], atol=PAGE_N)
