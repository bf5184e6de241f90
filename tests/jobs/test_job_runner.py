"""Long work beside the measuring: what each job makes, and how one is ended, whatever its process does."""

from __future__ import annotations

import contextlib
import json
import stat
import sys
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.dashboard.job_interface import Job, NoResult, NotCancellable, TooManyJobs
from monitor.jobs import job_runner
from monitor.jobs.job_runner import JobRunner
from monitor.store import DataFolder, open_store
from monitor.store.people.person_export import read_person_export

WAIT_S = 90.0


def reported_on(runner: JobRunner, job: Job, reached: Callable[[Job], bool]) -> Job:
    """Wait until a job is as wanted."""
    with runner._lock:
        assert runner._lock.wait_for(lambda: reached(runner._jobs[job.id]), WAIT_S)
        return runner._jobs[job.id]


@pytest.fixture
def runner(hall):
    with JobRunner(hall.folder, version="1.2.3", audit=hall.store.audit.add) as runner:
        yield runner


def done(runner: JobRunner, kind, parameters, **more) -> Job:
    job = runner.wait(runner.start(kind, parameters, who="Olga (owner)", **more).id, WAIT_S)
    assert (job.state, job.error) == ("done", None)
    assert (job.progress, job.cancellable, job.requested_by) == (1.0, False, "Olga (owner)")
    return job


def test_a_report_is_a_private_pdf_with_the_person_in_it(runner, hall):
    pypdf = pytest.importorskip("pypdf")
    job = done(runner, "report", {"person_uid": hall.person_uid}, subject=hall.person_uid)
    path = runner.file(job.id)
    assert (path.name, job.file.bytes) == (job.file.name, path.stat().st_size)
    assert "Mara T." in pypdf.PdfReader(path).pages[0].extract_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_chosen_holds_are_exported_with_the_curves_that_are_left(runner, hall):
    table = runner.file(done(runner, "export", {"uids": hall.holds, "form": "csv"}).id).read_text()
    assert [line.split(",")[0] for line in table.splitlines()[1:]] == hall.holds
    job = done(runner, "export", {"uids": [hall.holds[0], "guest-001"], "form": "c3d"})
    assert (job.outcome["curves"], job.outcome["without_a_curve"]) == (1, 1)
    with zipfile.ZipFile(runner.file(job.id)) as made:
        assert sorted(made.namelist()) == [f"curves/{hall.holds[0]}.c3d", "without-a-curve.txt"]
    failed = runner.wait(runner.start("export", {"uids": ["nothing"], "form": "csv"}, who="x").id, WAIT_S)
    assert (failed.state, failed.error["code"]) == ("failed", "bad-input")


def test_a_person_moves_by_two_jobs_without_loss(runner, hall, tmp_path):
    archive = runner.file(done(runner, "archive", {"person_uid": hall.person_uid}).id)
    there = DataFolder.open(tmp_path / "there")
    open_store(there.database).close()
    with JobRunner(there) as other:
        name, out = other.new_upload()
        with out:
            out.write(archive.read_bytes())
        job = done(other, "import", {"path": str(other.upload(name))})
        assert (job.outcome["holds"], job.outcome["journals"]) == (2, 1)
        assert other.upload(name) is None, "an archive that was taken is thrown away"
        again = other.new_upload()[0]
        other.upload(again).write_bytes(b"no zip")
        failed = other.wait(other.start("import", {"path": str(other.upload(again))}, who="x").id, WAIT_S)
        assert (failed.state, failed.error["code"]) == ("failed", "bad-archive")
    with open_store(there.database) as store:
        assert read_person_export(store, hall.person_uid) == read_person_export(hall.store, hall.person_uid)
        (journal,) = (p for p in there.journals.rglob("*") if p.is_file())
        assert journal.read_bytes() == hall.folder.journal(hall.store.get_session("session").journal).read_bytes()


def test_holds_are_measured_anew_and_all_is_backed_up(runner, hall, tmp_path):
    job = done(runner, "reanalysis", {"everything": True})
    assert (job.outcome["sessions"], job.outcome["holds"], job.outcome["not_measured"]) == (2, 2, 1)
    assert [t["session_uid"] for t in json.loads(runner.file(job.id).read_text())["troubles"]] == ["guest"]
    (tmp_path / "stick").mkdir()
    made = done(runner, "backup", {"into": str(tmp_path / "stick"), "keep": 2})
    assert (Path(made.outcome["place"]) / "contents.json").is_file()
    with pytest.raises(NoResult):
        runner.file(made.id)


def test_erasing_gives_a_receipt_and_throws_away_what_was_made_of_them(runner, hall):
    """The last of the tests that need the person."""
    archive = done(runner, "archive", {"person_uid": hall.person_uid}, subject=hall.person_uid)
    job = done(runner, "erase", {"person_uid": hall.person_uid}, subject=hall.person_uid)
    receipt = json.loads(runner.file(job.id).read_text())
    assert receipt == job.outcome
    assert (receipt["person"], receipt["left_over"], receipt["rows_erased"]["hold"]) == (hall.person_uid, [], 2)
    assert [p for p in hall.folder.journals.rglob("*") if p.is_file()] == []
    assert hall.store.people.everybody() == []
    assert hall.store.get_hold("guest-001") is not None
    with pytest.raises(NoResult):
        runner.file(archive.id)
    assert not (hall.folder.root / "work" / archive.id).exists()
    entries = [(e.what, e.subject) for e in hall.store.audit.recent(3)]
    assert ("job erase: done", hall.person_uid) in entries
    assert ("erasure of a person", hall.person_uid) in entries


# Processes that do not do what they should

STUCK = """
import json, signal, sys
sys.stdin.read()
print(json.dumps({"progress": 0.4, "stage": "s", "words": "w", "to_the_end": %s}), flush=True)
%s
"""


def stuck(hall, then: str = "signal.pause()", to_the_end: bool = False) -> JobRunner:
    return JobRunner(
        hall.folder, audit=hall.store.audit.add, command=(sys.executable, "-c", STUCK % (to_the_end, then))
    )


def test_a_running_job_is_cancelled_and_a_waiting_one_never_starts(hall):
    with stuck(hall) as runner:
        first = runner.start("report", {}, who="C")
        second = runner.start("report", {}, who="C")
        assert [job.id for job in runner.all()] == [second.id, first.id]
        reported_on(runner, first, lambda job: job.progress == 0.4)
        assert runner.cancel(second.id).state == "cancelled"
        runner.cancel(first.id)
        assert runner.wait(first.id, WAIT_S).state == "cancelled"
        with pytest.raises(NotCancellable):
            runner.cancel(first.id)
        assert not (hall.folder.root / "work" / first.id).exists()


def test_a_cancelled_job_is_over_and_cannot_be_cancelled_again(hall):
    with stuck(hall) as runner:
        first, second = (runner.start("report", {}, who="C") for _ in range(2))
        reported_on(runner, first, lambda job: job.progress == 0.4)
        cancelled = runner.cancel(second.id)
        assert (cancelled.state, cancelled.words, cancelled.cancellable) == ("cancelled", "Cancelled", False)
        assert cancelled.ended_utc_ms is not None
        for job_id in (second.id, "j-none"):
            with pytest.raises(NotCancellable):
                runner.cancel(job_id)


def test_an_erasure_cancelled_while_the_person_is_on_the_rig_erases_nothing(hall, tmp_path):
    @contextlib.contextmanager
    def let_go(uid, is_cancelled):
        on_the_rig.set()
        with runner._lock:
            assert runner._lock.wait_for(is_cancelled, WAIT_S)
        yield

    on_the_rig, begun = threading.Event(), tmp_path / "begun"
    command = (sys.executable, "-c", f"open({str(begun)!r}, 'w')")
    with JobRunner(hall.folder, let_go=let_go, command=command) as runner:
        job = runner.start("erase", {"person_uid": "p"}, who="O")
        assert on_the_rig.wait(WAIT_S)
        runner.cancel(job.id)
        assert runner.wait(job.id, WAIT_S).state == "cancelled"
    assert not begun.exists()


def test_closing_cancels_what_runs_and_what_waits(hall):
    shop = stuck(hall)
    running, waiting = (shop.start("report", {}, who="C") for _ in range(2))
    reported_on(shop, running, lambda job: job.progress == 0.4)
    closing = threading.Thread(target=shop.close, daemon=True)
    closing.start()
    closing.join(WAIT_S)
    assert not closing.is_alive()
    assert shop.get(running.id).state == "cancelled"
    assert shop.get(waiting.id).state != "done"


def test_a_job_that_heeds_no_signal_is_killed(hall, monkeypatch):
    monkeypatch.setattr(job_runner, "SECONDS_TO_END", 0.1)
    with stuck(hall, "signal.signal(signal.SIGTERM, signal.SIG_IGN)\nwhile True: signal.pause()") as runner:
        job = runner.start("report", {}, who="C")
        reported_on(runner, job, lambda job: job.progress == 0.4)
        runner.cancel(job.id)
        assert runner.wait(job.id, WAIT_S).state == "cancelled"


def test_past_the_point_of_no_return_a_job_goes_on_to_its_end(hall, tmp_path):
    gate = tmp_path / "gate"
    script = f"open({str(gate)!r}).read()\nprint(json.dumps({{'outcome': {{}}, 'file': None, 'media_type': ''}}))"
    import os

    os.mkfifo(gate)
    with stuck(hall, script, to_the_end=True) as runner:
        job = runner.start("erase", {"person_uid": "p"}, who="O")
        reported_on(runner, job, lambda job: not job.cancellable)
        with pytest.raises(NotCancellable):
            runner.cancel(job.id)
        gate.write_text("go")
        assert runner.wait(job.id, WAIT_S).state == "done"


@pytest.mark.parametrize("then", ["sys.exit(9)", "print('no json')", "print('{}')"])
def test_a_process_that_breaks_is_told_as_a_fault(hall, then):
    with stuck(hall, then) as runner:
        job = runner.wait(runner.start("report", {}, who="C").id, WAIT_S)
        assert (job.state, job.error["code"], job.file) == ("failed", "job-failed", None)
        assert set(job.error) == {"code", "what", "means", "do"}


@pytest.mark.parametrize("limit", ["time", "room"])
def test_limits_of_time_and_of_room_end_a_job(hall, monkeypatch, limit):
    if limit == "time":
        monkeypatch.setitem(job_runner.TIME_LIMIT_S, "export", 0.0)
    else:
        monkeypatch.setattr(job_runner, "LEAST_ROOM_BYTES", 1 << 62)
    with stuck(hall) as runner:
        job = runner.wait(runner.start("export", {}, who="C").id, WAIT_S)
        assert (job.state, job.error["code"]) == ("failed", "job-stopped")


def test_so_many_wait_and_no_more(hall):
    with stuck(hall) as runner:
        for _ in range(job_runner.MOST_WAITING):
            runner.start("report", {}, who="C")
        with pytest.raises(TooManyJobs):
            runner.start("report", {}, who="C")


def test_files_go_after_their_time_and_with_the_program(hall, monkeypatch):
    with JobRunner(hall.folder) as runner:
        job = runner.wait(runner.start("export", {"uids": ["guest-001"], "form": "json"}, who="C").id, WAIT_S)
        assert runner.file(job.id).is_file()
        monkeypatch.setattr(job_runner, "FILE_LASTS_S", -1.0)
        with pytest.raises(NoResult):
            runner.file(job.id)
        assert runner.get(job.id).file is None
    assert not (hall.folder.root / "work").exists()
