"""A whole person moved to another machine without loss, and erased everywhere."""

from __future__ import annotations

import datetime as dt
import gzip
import hashlib
import json
import os
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import insert, select

from monitor.coaching.coaching_service import CoachingService
from monitor.coaching.people.programme import template
from monitor.errors import BadInput
from monitor.exports.archive import BadArchive, import_archive, write_archive
from monitor.exports.erasure import erase_everywhere
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult, Swing
from monitor.records.stored_hold import StoredHold
from monitor.records.swing_calibration import SwingCalibration
from monitor.store import DataFolder, UnknownPerson, hold_uid, open_store
from monitor.store.database.schema import metadata
from monitor.store.people.person_erasure import erase_person
from monitor.store.people.person_export import ENTRIES, FORMAT, OF_HOLDS, read_person_export
from monitor.store.people.person_import import (
    BadPersonExport,
    PersonIsHere,
    PersonWasErased,
    write_person_export,
)

MADE = dt.datetime(2026, 7, 1, 12, 0, tzinfo=dt.UTC)
START_ns = 1_780_000_000 * 10**9
NAME = "Ylva Qvist-Unmistakable"
NOTE = "a note that stands nowhere else"
RIG = {"name": "Hall A", "channels": [{"name": "bar_left", "part": "bar"}]}


def result(onset_s: float, duration_s: float) -> HoldResult:
    swing = Swing(1.5, 0.8, 0.44, [(onset_s, 0.8, 0.1)])
    return HoldResult(
        onset_s, onset_s + duration_s, duration_s, 0.01, "passive", "assisted", 0.8, 0.001, 0.2, 0.001,
        swing=swing, flags=["kind_unknown"],
    )  # fmt: skip


def fill(folder: DataFolder, store, name: str = NAME, offset_ns: int = 0) -> str:
    """Keep a person with something in every table, and journals plain, packed, torn and missing."""
    coaching = CoachingService(store, lambda: START_ns + 10 * 86_400 * 10**9)
    uid = coaching.add_person(name, stature_m=1.71, notes=NOTE, consent_on="2026-05-01", units="lbf").uid
    coaching.take_intake(uid, {"passive_30s": False, "pain_now": 2, "pain_places": ["wrist"]})
    coaching.set_programme(uid, template())
    coaching.set_programme(uid, template("long_hangs"))
    coaching.log_pain(uid, 3, place="wrist", symptoms=("numbness",), note=f"after the second set of {name}")
    coaching.log_hang(uid, 30, START_ns + 10**9, "passive", "at home")
    store.people.remove_manual_hang(coaching.log_hang(uid, 31, START_ns + 2 * 10**9).id)
    store.swings.add(SwingCalibration(0, uid, "some-hold", START_ns, 9.0, 8.0, 0.5, 8.2, 0.88, 0.04))
    uids = []
    for number in range(4):
        at_ns = START_ns + offset_ns + number * 86_400 * 10**9
        calibration = {"id": f"c{number % 2}", "channels": [{"channel": "bar_left", "span_at": "2026-04-01"}]}
        session = store.begin_session(at_ns, RIG, calibration, person_uid=uid)
        for k in (1, 2, 3):
            hold = StoredHold(
                hold_uid(session, k), session, k, at_ns + k * 10**10, 700.0, 0.5, result(40.0 * k, 30.0 + k),
                MEASUREMENT_VERSION, target_s=30.0, ending="target",
            )  # fmt: skip
            store.save_hold(hold)
            uids.append(hold.uid)
        store.end_session(session, at_ns + 10**12, clock_rate=1.00001, quality={"samples": 9, "lost": 1})
        if number < 3:
            path = folder.new_journal(session, at_ns)
            content = os.urandom(5000)
            if number == 1:
                path = path.with_name(path.name + ".gz")
                content = gzip.compress(content)
            path.write_bytes(content)
            if number == 2:
                path.with_name(path.name + ".torn-77").write_bytes(os.urandom(40))
    corrections = store.corrections
    corrections.make(uids[0], "retag", {"kind": "active"}, reason="seen", made_by="coach")
    corrections.make(uids[3], "split", {"at_s": 55.0}, reason="two", made_by="coach")
    corrections.make(uids[6], "join", {"with": uids[7]}, reason="one", made_by="coach")
    corrections.make(uids[9], "discard", {}, reason="a try", made_by="coach")
    corrections.undo_last(uids[9])
    store.withdraw_hold(uids[11])
    first_session = uids[0].rsplit("-", 1)[0]
    store.markers.add(first_session, "cue", 50.0, text=f"long arms, {name}", made_by="coach")
    store.markers.remove(store.markers.add(first_session, "pain", 71.0, pain=3, made_by="coach").id, "coach")
    with store._writer._engine.begin() as connection:
        for table in OF_HOLDS.values():
            assert table.name == "earlier_result"
            values = {"hold_uid": uids[0], "measurement_version": 0, "result": {"onset_s": 1.0}, "replaced_utc_ns": 5}
            connection.execute(insert(table).values(**values))
    return uid


def all_rows(store) -> dict[str, list]:
    with store._read() as connection:
        return {
            t.name: [dict(r) for r in connection.execute(select(t).order_by(*t.primary_key.columns)).mappings()]
            for t in metadata.sorted_tables
        }


def tree(folder: DataFolder) -> dict[str, str]:
    files = [p for p in sorted(folder.journals.rglob("*")) if p.is_file()]
    return {str(p.relative_to(folder.root)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.fixture
def here(tmp_path):
    folder = DataFolder.open(tmp_path / "here")
    with open_store(folder.database) as store:
        yield store, folder


@pytest.fixture
def there(tmp_path):
    folder = DataFolder.open(tmp_path / "there")
    with open_store(folder.database) as store:
        yield store, folder


def test_a_person_moves_without_loss(here, there, tmp_path):
    uid = fill(here[1], here[0])
    # Somebody else is there already, so that numbers within the database differ.
    fill(there[1], there[0], "Other", offset_ns=10**9)
    others = tree(there[1])
    file = tmp_path / "p.zip"
    made = write_archive(*here, uid, file, version="1.2.3", made_at=MADE)
    assert (made.holds, made.journals, made.missing_journals) == (15, 3, 1)
    came = import_archive(*there, file)
    assert (came.person_uid, came.holds, came.journals) == (uid, 15, 3)
    assert read_person_export(there[0], uid) == read_person_export(here[0], uid)
    assert {k: v for k, v in tree(there[1]).items() if k not in others} == tree(here[1])
    both = [CoachingService(store, lambda: START_ns + 20 * 86_400 * 10**9) for store, _ in (here, there)]
    for question in ("holds", "progress", "prescribe", "programme", "days", "person", "stops"):
        answers = [getattr(coaching, question)(uid) for coaching in both]
        if question == "holds":  # made_by is the number of a correction within its own database
            answers = [[(h.uid, h.result, h.hidden, h.ending, h.target_s) for h in holds] for holds in answers]
        assert answers[0] == answers[1], question
    again = tmp_path / "again.zip"
    write_archive(*there, uid, again, version="1.2.3", made_at=MADE)
    with zipfile.ZipFile(file) as a, zipfile.ZipFile(again) as b:
        assert sorted(a.namelist()) == sorted(b.namelist())
        assert all(a.read(name) == b.read(name) for name in a.namelist())


def test_corrections_can_be_undone_after_the_move(here, there, tmp_path):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", made_at=MADE)
    import_archive(*there, tmp_path / "p.zip")
    for store, _ in (here, there):
        first = next(h for h in CoachingService(store).holds(uid) if h.result.kind == "active")
        store.corrections.undo_last(first.uid)
    kinds = [[h.result.kind for h in CoachingService(store).holds(uid)] for store, _ in (here, there)]
    assert kinds[0] == kinds[1]
    assert "active" not in kinds[0]


def test_every_table_is_in_a_person_export_or_is_of_nobody():
    """A new table must be thought of here: it may hold something of a person."""
    of_the_person = {"person", "session", "hold", "correction", "marker", "rig", "calibration"}
    of_nobody = {"setting", "audit"}
    named = {t.name for t in ENTRIES.values()} | set(OF_HOLDS)
    assert {t.name for t in metadata.sorted_tables} == of_the_person | named | of_nobody


def test_the_manifest_tells_versions_units_and_hashes(here, tmp_path):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", version="1.2.3", made_at=MADE)
    with zipfile.ZipFile(tmp_path / "p.zip") as archive:
        manifest = json.loads(archive.read("manifest.json"))
        assert manifest["program"] == "1.2.3"
        assert manifest["measurement_version"] == MEASUREMENT_VERSION
        for name, entry in manifest["files"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == entry["sha256"]
        assert b"duration_s" in archive.read("holds.csv")
        assert b"_N newtons" in archive.read("READ-ME.txt")
    assert (tmp_path / "p.zip").stat().st_mode & 0o077 == 0


def test_nobody_comes_twice(here, tmp_path):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", made_at=MADE)
    before, files = all_rows(here[0]), tree(here[1])
    with pytest.raises(PersonIsHere):
        import_archive(*here, tmp_path / "p.zip")
    assert (all_rows(here[0]), tree(here[1])) == (before, files)


def test_a_person_export_of_a_newer_program_is_refused_whole(here, there):
    person_export = read_person_export(here[0], fill(here[1], here[0]))
    before = all_rows(there[0])
    person_export["holds"][-1]["invented_column"] = 1
    with pytest.raises(BadPersonExport, match="invented_column"):
        write_person_export(there[0], person_export)
    del person_export["holds"][-1]["invented_column"], person_export["sessions"]
    with pytest.raises(BadPersonExport):
        write_person_export(there[0], person_export)
    with pytest.raises(BadPersonExport):
        write_person_export(there[0], {**person_export, "format": FORMAT + 1})
    assert all_rows(there[0]) == before


def test_an_archive_of_version_0_1_is_imported_whole(there):
    """``person_format_2.zip`` was written by 0.1, whose keys say ``stays`` and ``stay``; format 1 had no markers."""
    old = Path(__file__).with_name("person_format_2.zip")
    came = import_archive(*there, old)
    assert (came.name, came.holds, came.journals, came.missing_journals) == ("A. B.", 6, 1, 0)
    session = "20251009T085320Z-0badcafe"
    holds = there[0].holds_of_session(session)
    assert [hold.uid.removeprefix(session) for hold in holds] == ["-001", "-002", "-004-part-1", "-004-part-2"]
    assert {hold.person_uid for hold in holds} == {came.person_uid}
    assert [one.kind for one in there[0].corrections.of_session(session)] == ["retag", "split"]
    assert holds[0].result.kind == "active"
    assert [(one.kind, one.text) for one in there[0].markers.of_session(session)] == [("cue", "long arms")]
    assert len(there[0].swings.of_person(came.person_uid)) == 1
    with zipfile.ZipFile(old) as archive:
        written = json.loads(archive.read("person.json"))
    now = read_person_export(there[0], came.person_uid)
    assert {len(now[name]) - len(written[old]) for name, old in (("sessions", "stays"), ("holds", "holds"))} == {0}
    erase_person(there[0], came.person_uid)
    first = {key: value for key, value in written.items() if key != "markers"}
    uid = write_person_export(there[0], {**first, "format": 1}, although_erased=True)
    assert read_person_export(there[0], uid) == {**now, "markers": []}


def test_a_rig_under_a_false_hash_is_refused(here, there):
    person_export = read_person_export(here[0], fill(here[1], here[0]))
    person_export["rigs"][0]["description"]["name"] = "Another"
    with pytest.raises(BadPersonExport, match="hash"):
        write_person_export(there[0], person_export)


def leaves(value, path=()):
    """Give the paths of everything in plain data."""
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from leaves(inner, (*path, key))


@pytest.fixture(scope="module")
def person_export_and_empty_store(tmp_path_factory):
    root = tmp_path_factory.mktemp("wrong")
    folder = DataFolder.open(root / "a")
    with open_store(folder.database) as store:
        person_export = json.dumps(read_person_export(store, fill(folder, store)))
    with open_store(DataFolder.open(root / "b").database) as store:
        yield person_export, store


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_person_export_with_anything_wrong_in_it_is_told_and_nothing_is_kept(person_export_and_empty_store, data):
    """A value of another kind, or one that is missing, is refused whole or does no harm; it never ends in a crash."""
    written, store = person_export_and_empty_store
    person_export = json.loads(written)
    *path, last = data.draw(st.sampled_from([p for p in leaves(person_export) if p and "result" not in p]))
    place = person_export
    for key in path:
        place = place[key]
    wrong = data.draw(st.sampled_from(["gone", None, "text", 7, -1.5, [], {}, [{}], True, 10**30]))
    if wrong == "gone":
        del place[last]
    else:
        place[last] = wrong
    before = store.audit.recent()
    try:
        uid = write_person_export(store, person_export)
    except (BadPersonExport, PersonIsHere):
        assert store.people.everybody() == []
        assert store.count_holds() == 0
        assert store.audit.recent() == before
    else:
        erase_person(store, uid, keep_row=False)


def rewritten(source: Path, target: Path, change) -> Path:
    """Copy an archive with its files changed, and with the manifest made to fit."""
    with zipfile.ZipFile(source) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    manifest = json.loads(files.pop("manifest.json"))
    change(files)
    manifest["files"] = {n: {"bytes": len(c), "sha256": hashlib.sha256(c).hexdigest()} for n, c in files.items()}
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in {**files, "manifest.json": json.dumps(manifest).encode()}.items():
            archive.writestr(name, content)
    return target


@pytest.mark.parametrize("name", ["../evil.journal", "journals/../../evil.journal", "/tmp/evil.journal", "evil.sqlite"])
def test_an_archive_cannot_write_elsewhere(here, there, tmp_path, name):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", made_at=MADE)
    bad = rewritten(tmp_path / "p.zip", tmp_path / "bad.zip", lambda files: files.update({name: b"x"}))
    before = {p for p in tmp_path.rglob("*") if p.is_file()}
    with pytest.raises(BadArchive):
        import_archive(*there, bad)
    assert {p for p in tmp_path.rglob("*") if p.is_file()} == before
    assert not Path("/tmp/evil.journal").exists()

    def lead_astray(files):
        person_export = json.loads(files["person.json"])
        person_export["sessions"][0]["journal"] = name
        files["person.json"] = json.dumps(person_export).encode()

    with pytest.raises(BadArchive):
        import_archive(*there, rewritten(tmp_path / "p.zip", tmp_path / "bad.zip", lead_astray))


def test_a_journal_of_nobody_is_refused(here, there, tmp_path):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", made_at=MADE)
    extra = {"journals/2026/01/somebody.journal": b"x"}
    bad = rewritten(tmp_path / "p.zip", tmp_path / "bad.zip", lambda files: files.update(extra))
    with pytest.raises(BadArchive, match="no session"):
        import_archive(*there, bad)


def test_a_failing_import_leaves_no_journal(here, there, tmp_path):
    uid = fill(here[1], here[0])
    write_archive(*here, uid, tmp_path / "p.zip", made_at=MADE)

    def break_it(files):
        person_export = json.loads(files["person.json"])
        person_export["holds"][0]["session"] = "nowhere"
        files["person.json"] = json.dumps(person_export).encode()

    with pytest.raises(BadPersonExport):
        import_archive(*there, rewritten(tmp_path / "p.zip", tmp_path / "bad.zip", break_it))
    assert tree(there[1]) == {}
    assert there[0].people.everybody() == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7), cut=st.booleans())
def test_a_damaged_archive_is_told_and_changes_nothing(tmp_path_factory, place, bit, cut):
    """Any flipped bit or lost tail is either harmless (in what zip does not read) or refused; never half imported."""
    root = tmp_path_factory.getbasetemp() / "damage"
    if not root.exists():
        folder = DataFolder.open(root / "a")
        with open_store(folder.database) as store:
            person_export_uid = fill(folder, store)
            write_archive(store, folder, person_export_uid, root / "p.zip", made_at=MADE)
            (root / "person_export.json").write_text(json.dumps(read_person_export(store, person_export_uid)))
    raw = bytearray((root / "p.zip").read_bytes())
    at = int(place * len(raw))
    raw = raw[:at] if cut else raw[:at] + bytes([raw[at] ^ 1 << bit]) + raw[at + 1 :]
    (root / "damaged.zip").write_bytes(raw)
    folder = DataFolder.open(root / "b")
    with open_store(folder.database) as store:
        try:
            came = import_archive(store, folder, root / "damaged.zip")
        except BadArchive:
            assert tree(folder) == {}
            assert store.people.everybody() == []
        else:
            assert json.loads(json.dumps(read_person_export(store, came.person_uid))) == json.loads(
                (root / "person_export.json").read_text()
            )
            erase_everywhere(store, folder, came.person_uid)
            erase_row(store, came.person_uid)


def erase_row(store, uid: str) -> None:
    """Forget that the person was ever here, for the next example."""
    table = metadata.tables["person"]
    with store._writer._engine.begin() as connection:
        connection.execute(table.delete().where(table.c.uid == uid))


def test_no_archive_is_told(there, tmp_path):
    (tmp_path / "text.zip").write_text("hello")
    for path in (tmp_path / "text.zip", tmp_path / "missing.zip"):
        with pytest.raises(BadArchive):
            import_archive(*there, path)


def test_an_archive_that_cannot_be_written_is_told(here, tmp_path):
    uid = fill(here[1], here[0])
    with pytest.raises(BadInput):
        write_archive(*here, uid, tmp_path / "nowhere" / "p.zip", made_at=MADE)


# Erasing


def test_erasing_leaves_nothing_of_the_person_in_any_file(here):
    store, folder = here
    uid = fill(folder, store)
    other = fill(folder, store, "Other One", offset_ns=10**9)
    stored_person_export = read_person_export(store, other)
    raw = [(folder.root / name).read_bytes() for name in tree(folder)]
    sessions = [session["uid"] for session in read_person_export(store, uid)["sessions"]]
    receipt = erase_everywhere(store, folder, uid, who="owner", version="1.2.3")
    with pytest.raises(UnknownPerson):
        read_person_export(store, uid)
    assert read_person_export(store, other) == stored_person_export
    assert receipt["rows_erased"]["hold"] == 15
    assert receipt["rows_erased"]["earlier_result"] == 1
    assert len(receipt["journals_erased"]) == 4
    assert receipt["left_over"] == []
    assert NAME not in json.dumps(receipt)
    left = [p for p in folder.root.rglob("*") if p.is_file()]
    contents = [p.read_bytes() for p in left]
    for secret in (NAME, f"after the second set of {NAME}", NOTE):
        # The other person has the same note in one place.
        assert sum(content.count(secret.encode()) for content in contents) == (secret == NOTE), secret
    subjects = [entry.subject for entry in store.audit.recent()]
    for uid_of_session in sessions:
        mentions = sum(content.count(uid_of_session.encode()) for content in contents)
        assert mentions == sum(subject.count(uid_of_session) for subject in subjects), "only the audit list may name it"
    mine = len(receipt["journals_erased"])
    assert sum(journal in contents for journal in raw) == len(raw) - mine
    entry = store.audit.recent(1)[0]
    assert (entry.who, entry.what, entry.subject) == ("owner", "erasure of a person", uid)


def test_an_erased_person_comes_back_only_by_their_wish(here, tmp_path):
    store, folder = here
    uid = fill(folder, store)
    person_export, files = read_person_export(store, uid), tree(folder)
    write_archive(store, folder, uid, tmp_path / "p.zip", made_at=MADE)
    erase_everywhere(store, folder, uid)
    assert tree(folder) == {}
    with pytest.raises(PersonWasErased):
        import_archive(store, folder, tmp_path / "p.zip")
    assert tree(folder) == {}
    import_archive(store, folder, tmp_path / "p.zip", although_erased=True)
    assert read_person_export(store, uid) == person_export
    assert tree(folder) == files


def test_nobody_is_erased_twice(here):
    uid = fill(here[1], here[0])
    erase_person(here[0], uid)
    with pytest.raises(UnknownPerson):
        erase_person(here[0], uid)
