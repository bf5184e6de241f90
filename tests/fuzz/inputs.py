"""What is read from outside, each as a function of plain bytes: anything but a told error is a fault of the program."""

from __future__ import annotations

import contextlib
import functools
import gzip
import io
import json
import os
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from firmware_bridge.assembly import Assembly
from firmware_bridge.decoder import Decoder
from firmware_bridge.errors import TellableError
from firmware_bridge.framing import seal
from firmware_bridge.journal import check_journal, mend, note_bytes, read_chunks, torn_bytes
from firmware_bridge.messages import Echo, Fault, Hello, Samples
from monitor.analysis import analyse_file, read_load_curve
from monitor.coaching.people.programme import programme_from_toml
from monitor.demo import DemoRig
from monitor.event_analyser import EventAnalyser, rig_note
from monitor.exports.archive import KIND, MANIFEST, PERSON_EXPORT, import_archive
from monitor.measures.session_analysis import AnalysisSettings
from monitor.newtons.calibration import calibration_to_dict, load_calibration
from monitor.rig import load_rig, rig_to_dict
from monitor.store import AccessFile, DataFolder, open_store
from tests.fuzz.whole_page import PlainHasher, blank_database, fill

RECORDINGS = Path(__file__).parents[1] / "recordings"
MOST_BYTES = 200_000


@dataclass(frozen=True)
class Input:
    """A kind of input: what takes it, and good examples of it."""

    take: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]


@contextlib.contextmanager
def as_file(data: bytes, name: str) -> Iterator[Path]:
    """Put bytes into a file; in memory where the system has such a place."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        yield path


@functools.cache
def rig() -> DemoRig:
    return DemoRig(1)


# The wire


def decoder(data: bytes) -> None:
    """Cut anywhere, the same messages; and the pipeline takes whatever they tell."""
    at = data[0] * len(data) // 256 if data else 0
    whole, parts = Decoder(), Decoder()
    in_one, in_two = whole.push(data), [*parts.push(data[:at]), *parts.push(data[at:])]
    assert [one.summary() for one in in_one] == [one.summary() for one in in_two]
    assert [one.raw for one in in_one] == [one.raw for one in in_two]
    assert parts.counters == whole.counters
    _through_the_pipeline(data)


def frames(data: bytes) -> None:
    """Frames with a right checksum and whatever body: kind and length from the bytes, too."""
    stream, sequence, at = b"", 0, 0
    while at < len(data):
        kind = (0x01, 0x02, 0x02, 0x02, 0x03, 0x04, 0x20, data[at])[data[at] & 7]
        size = data[at + 1] if at + 1 < len(data) else 0
        sequence = (sequence + 1 + (data[at] >> 6 == 3) * size) & 0xFFFF
        stream += seal(kind, sequence, data[at + 2 : at + 2 + size])
        at += 2 + size
    _through_the_pipeline(stream)


def _through_the_pipeline(stream: bytes) -> None:
    assembly = Assembly()
    analyser = EventAnalyser(AnalysisSettings(), rig().rig, rig().calibration, live=True)
    for received in Decoder().push(stream):
        for event in assembly.take(received):
            with contextlib.suppress(TellableError):
                analyser.take(event)
    analyser.flush(interrupted=True)


def _stream(seconds: float = 3.0) -> bytes:
    hello = Hello(1, (0, 1, 0), b"fuzzrig0", 7, 6, 8000, 0, 6250, "fuzz")
    stream, sequence = seal(Hello.KIND, 0, hello.to_body()), 0
    invented = DemoRig(3)
    for block in range(int(seconds * 80 / 8)):
        counts, _ = invented.conversions(8)
        sequence += 1
        body = Samples((block * 100_000) & 0xFFFFFFFF, 3_200_000, 0, counts).to_body()
        stream += seal(Samples.KIND, sequence, body)
    stream += seal(Echo.KIND, sequence + 1, Echo(bytes(8), 5).to_body())
    return stream + seal(Fault.KIND, sequence + 2, Fault(1, 2, "no reading").to_body())


def _frame_seeds() -> list[bytes]:
    hello = Hello(1, (0, 1, 0), b"fuzzrig0", 7, 6, 8000, 0, 6250, "fuzz").to_body()
    absurd = np.full((2, 6), 2**31 - 1, dtype=np.int32)
    bodies = [(0, hello)]
    for n in range(30):
        counts = absurd if n % 7 == 6 else np.full((2, 6), 1000 * n, dtype=np.int32)
        bodies.append((1, Samples(n * 25_000, 3_200_000, 0, counts).to_body()))
    bodies += [(1, Samples(2**32 - 1, 1, 65_535, absurd).to_body()), (1, Samples(0, 2**32 - 1, 0, absurd).to_body())]
    return [b"".join(bytes((kind, len(body))) + body for kind, body in bodies)]


# Files


def journal(data: bytes) -> None:
    """Everything that is done with a journal; plain and packed."""
    for name in ("a.journal", "a.journal.gz"):
        with as_file(data, name) as path:
            reading = (check_journal, torn_bytes, lambda p: b"".join(read_chunks(p)), read_load_curve, analyse_file)
            for work in (*reading, mend):
                with contextlib.suppress(TellableError):
                    work(path)


def _journal_seeds() -> list[bytes]:
    note = note_bytes(rig_note(rig().rig, rig().calibration))
    made = note + _stream(4.0)
    recorded = [path.read_bytes()[:20_000] for path in sorted(RECORDINGS.glob("*.journal"))]
    return [made, *recorded, gzip.compress(made, mtime=0), note]


def curve(data: bytes) -> None:
    """Take a load curve as CSV, plain and gzipped."""
    for name in ("a.csv", "a.csv.gz"):
        with as_file(data, name) as path, contextlib.suppress(TellableError):
            analyse_file(path)


def _curve_seeds() -> list[bytes]:
    whole = gzip.decompress((RECORDINGS / "curves" / "s1_seed11.csv.gz").read_bytes())
    lines = whole.splitlines(keepends=True)
    short = b"".join(lines[:400])
    return [short, b"".join(lines[:1] + lines[2000:2300]), gzip.compress(short, mtime=0), lines[0], lines[0] + lines[1]]


def rig_file(data: bytes) -> None:
    with as_file(data, "rig.toml") as path, contextlib.suppress(TellableError):
        load_rig(path)


def calibration_file(data: bytes) -> None:
    with as_file(data, "c.toml") as path, contextlib.suppress(TellableError):
        taken = load_calibration(path, rig().rig.names)
        taken.newtons(np.array([[0] * 6, [2**31 - 1] * 6, [-(2**31)] * 6], dtype=np.int32))


def programme_file(data: bytes) -> None:
    with contextlib.suppress(TellableError, UnicodeDecodeError):
        programme_from_toml(data.decode())


def access_file(data: bytes) -> None:
    with as_file(data, "access.json") as path, contextlib.suppress(TellableError):
        access = AccessFile(path, PlainHasher())
        access.accounts()
        access.sign_ins()
        access.sign_in_of("nobody")


# Archives


@functools.cache
def _empty_store() -> Any:
    folder = DataFolder.open(Path(tempfile.mkdtemp(prefix="fuzz-archive-")) / "data")
    return folder, open_store(blank_database(folder.database))


def _imported(path: Path) -> None:
    folder, store = _empty_store()
    with contextlib.suppress(TellableError):
        done = import_archive(store, folder, path)
        from monitor.store.files.journals import erase_journals
        from monitor.store.people.person_erasure import erase_person

        places = [str(file.relative_to(folder.root)) for file in folder.journals.rglob("*.journal")]
        erase_person(store, done.person_uid, keep_row=False)
        erase_journals(folder, places)
    outside = [path for path in folder.root.parent.iterdir() if path != folder.root]
    links = [path for path in folder.root.rglob("*") if path.is_symlink()]
    assert (outside, links) == ([], [])


def archive(data: bytes) -> None:
    """Bytes that say they are a zip file."""
    with as_file(data, "p.zip") as path:
        _imported(path)


def person_export(data: bytes) -> None:
    """Wrap whatever person.json into a whole archive: hashes and names are right, what is said is not."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr(PERSON_EXPORT, data)
        listed = {PERSON_EXPORT: {"bytes": len(data), "sha256": sha256(data).hexdigest()}}
        manifest = {"kind": KIND, "format": 1, "person": "x", "files": listed}
        made.writestr(MANIFEST, json.dumps(manifest))
    with as_file(out.getvalue(), "p.zip") as path:
        _imported(path)


@functools.cache
def _archive_seeds() -> tuple[bytes, bytes]:
    import datetime as dt

    from monitor.exports.archive import write_archive

    with tempfile.TemporaryDirectory() as place:
        folder = DataFolder.open(Path(place) / "data")
        with open_store(blank_database(folder.database)) as store:
            uid, _ = fill(store, 2)
            write_archive(store, folder, uid, Path(place) / "p.zip", made_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
        whole = (Path(place) / "p.zip").read_bytes()
        with zipfile.ZipFile(io.BytesIO(whole)) as made:
            return whole, made.read(PERSON_EXPORT)


def _toml(value: dict[str, Any]) -> list[bytes]:
    import tomli_w

    return [tomli_w.dumps(value).encode()]


def _programme_seeds() -> list[bytes]:
    import monitor.coaching

    places = sorted((Path(monitor.coaching.__file__).parent / "people" / "templates").glob("*.toml"))
    return [path.read_bytes() for path in places]


def _access_seeds() -> list[bytes]:
    with as_file(b"", "x") as path:
        access = AccessFile(path.with_name("access.json"), PlainHasher())
        access.set_passcode("Olga", "owner", "a dry blue heron")
        access.sign_in("Olga", "owner", "a tablet")
        return [access.path.read_bytes()]


INPUTS: dict[str, Input] = {
    "decoder": Input(decoder, lambda: [_stream(1.0), b"12,1,2,3*00\n12513,4,5,6\n" * 20, b"\0" + _stream(0.5)]),
    "frames": Input(frames, _frame_seeds),
    "journal": Input(journal, _journal_seeds),
    "curve": Input(curve, _curve_seeds),
    "rig": Input(rig_file, lambda: _toml(rig_to_dict(rig().rig))),
    "calibration": Input(calibration_file, lambda: _toml(calibration_to_dict(rig().calibration))),
    "programme": Input(programme_file, _programme_seeds),
    "access": Input(access_file, _access_seeds),
    "archive": Input(archive, lambda: [_archive_seeds()[0]]),
    "person_export": Input(person_export, lambda: [_archive_seeds()[1]]),
}
