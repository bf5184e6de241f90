"""The registry of export formats: one line in it, and command line and API offer a format."""

from __future__ import annotations

import sys

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from store_samples import RIG, START_utc_ns, sample_hold
from typer.testing import CliRunner

from monitor.cli import app
from monitor.dashboard.routes.jobs import job_routes
from monitor.dashboard.views.problems import tell_problems
from monitor.exports.export_format import ExportFormat, ExportLibraryMissing
from monitor.exports.formats import FORMATS, UnknownFormat, format_named
from monitor.jobs.tasks import JobContext, export
from monitor.store import DataFolder, open_store


def write_uids(holds, out, version):
    out.write("".join(f"{hold.uid};" for hold in holds).encode())


TOY = ExportFormat("uids (toy)", "toy", "text/plain", holds=write_uids)


@pytest.fixture
def _toy(monkeypatch):
    monkeypatch.setitem(FORMATS, "uids", TOY)


@pytest.fixture
def folder(tmp_path) -> DataFolder:
    folder = DataFolder.open(tmp_path / "data")
    with open_store(folder.database) as store:
        store.begin_session(START_utc_ns, RIG, uid="s")
        for number in (1, 2):
            store.save_hold(sample_hold("s", number))
    return folder


def command(folder: DataFolder, *words: str):
    return CliRunner().invoke(app, ["export", "--data", str(folder.root), *words], catch_exceptions=False)


@pytest.mark.usefixtures("_toy")
def test_the_command_line_offers_a_format_of_one_line(folder):
    assert "uids: the list of holds\n" in command(folder, "--formats").stdout
    assert command(folder, "--format", "uids").stdout == "s-001;s-002;"
    refused = command(folder, "--format", "uids", "--hold", "s-001")
    assert (refused.exit_code, "cannot hold a curve" in refused.stderr) == (2, True)
    assert command(folder, "--format", "nothing").stderr.count("uids") == 1


@pytest.mark.usefixtures("_toy")
def test_a_job_writes_a_format_of_one_line(folder, tmp_path):
    with open_store(folder.database) as store:
        wanted = {"uids": ["s-002", "s-001"], "form": "uids", "curves": True}
        made = export(JobContext("export", wanted, folder, store, tmp_path, "C.", "1.2.3"), lambda *_, **__: None)
    assert (made.file, made.media_type) == ("holds.toy", "text/plain")
    assert (tmp_path / "holds.toy").read_text() == "s-002;s-001;"


class NoCoach:
    coaching = None


class Started:
    """Takes every job."""

    def __init__(self) -> None:
        self.kinds: list[str] = []

    def start(self, kind, wanted, *, who, subject):
        self.kinds.append(kind)
        raise UnknownFormat(what="started", means="x", do="x")


@pytest.fixture
def page():
    served = FastAPI()
    tell_problems(served)
    served.include_router(job_routes(Started(), NoCoach()))
    return TestClient(served)


@pytest.mark.usefixtures("_toy")
def test_the_page_is_offered_a_format_of_one_line(page):
    offered = {one["name"]: one for one in page.get("/export-formats").json()}
    assert list(offered) == list(FORMATS)
    assert set(offered) >= {"csv", "json", "parquet", "c3d", "edf"}
    assert offered["uids"] == {"name": "uids", "title": "uids (toy)", "holds": True, "curves": False, "missing": None}
    assert page.post("/jobs/export", json={"uids": ["s-001"], "form": "uids"}).json()["error"]["what"] == "started"


def test_an_unknown_format_is_refused_with_those_that_there_are(page):
    answer = page.post("/jobs/export", json={"uids": ["s-001"], "form": "exe"})
    assert (answer.status_code, answer.json()["error"]["code"]) == (422, "unknown-format")
    assert "csv, json, parquet, c3d, edf" in answer.json()["error"]["do"]
    with pytest.raises(UnknownFormat):
        format_named("exe")


def test_a_format_without_its_library_is_listed_with_the_reason(page, monkeypatch, folder, tmp_path):
    monkeypatch.setitem(sys.modules, "edfio", None)
    (edf,) = [one for one in page.get("/export-formats").json() if one["name"] == "edf"]
    assert edf["missing"] == "The library edfio is not installed."
    assert "edf: curves. The library edfio is not installed." in command(folder, "--formats").stdout
    with pytest.raises(ExportLibraryMissing):
        FORMATS["edf"].load_library()
    out = tmp_path / "x.edf"
    refused = command(folder, "--format", "edf", "--hold", "s-001", "--out", str(out))
    assert (refused.exit_code, '".[edf]"' in refused.stderr, out.exists()) == (2, True, False)


@pytest.mark.parametrize("name", list(FORMATS))
def test_a_format_holds_something_and_has_its_own_ending(name):
    one = FORMATS[name]
    assert one.holds or one.curve
    assert [other.ending for other in FORMATS.values()].count(one.ending) == 1
    assert (one.library is None) == (one.extra is None)
