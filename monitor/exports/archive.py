"""A whole person as one file: to move to another machine, or to hand over everything that is stored about them."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import json
import lzma
import os
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.errors import BadInput, MonitorError
from monitor.exports.csv_file import holds_csv
from monitor.records.hold_result import MEASUREMENT_VERSION
from monitor.store import DataFolder, HoldFilter, Store
from monitor.store.files.folder import private_file, private_folder
from monitor.store.files.journals import files_of
from monitor.store.people.person_export import read_person_export
from monitor.store.people.person_import import BadPersonExport, PersonIsHere, in_current_format, write_person_export

FORMAT = 1
KIND = "hang-monitor person"
MANIFEST, PERSON_EXPORT, HOLDS, WORDS = "manifest.json", "person.json", "holds.csv", "READ-ME.txt"
MOST_TEXT_BYTES = 1 << 30
"""Manifest and person export are read into memory; a hundred thousand holds take about a tenth of this."""

Progress = Callable[[int, int], None]
"""Takes the bytes done and the bytes in all."""

_CHUNK = 1 << 20
_JOURNAL = re.compile(r"journals/(?:[A-Za-z0-9_-]+/){0,4}[A-Za-z0-9_.-]+\.journal(?:\.gz|\.torn-[0-9-]+)?")
_EXTRA = re.compile(r"\.gz$|\.torn-[0-9-]+$")


class BadArchive(MonitorError):
    """A file is no archive of a person, or it is damaged."""

    code = "bad-archive"


@dataclass(frozen=True, slots=True)
class Archived:
    """What went into an archive, or came out of it."""

    person_uid: str
    name: str
    holds: int
    journals: int
    missing_journals: int = 0


def write_archive(
    store: Store,
    folder: DataFolder,
    uid: str,
    path: Path,
    *,
    version: str = "",
    made_at: dt.datetime,
    progress: Progress | None = None,
) -> Archived:
    """Write everything stored about a person into one zip file, which gets its name only once it is complete.

    It holds ``person.json`` (every row of the database), ``holds.csv`` (the holds for a spreadsheet), the journals
    with the raw readings, ``READ-ME.txt`` and ``manifest.json`` with the length and SHA-256 of every file.

    Raises
    ------
    UnknownPerson, BadInput
        The file cannot be written.
    """
    person_export = read_person_export(store, uid)
    table = io.StringIO(newline="")
    holds_csv(store.all_holds(HoldFilter(person_uid=uid)), table)
    places = [str(session["journal"]) for session in person_export["sessions"]]
    files = [file for place in places for file in files_of(folder, place)]
    texts = {
        PERSON_EXPORT: json.dumps(
            person_export, allow_nan=False, ensure_ascii=False, indent=1, sort_keys=True
        ).encode(),
        HOLDS: table.getvalue().encode(),
        WORDS: _read_me(version, made_at).encode(),
    }
    beside = path.with_name(f"{path.name}.part")
    try:
        beside.unlink(missing_ok=True)
        private_file(beside)
        with zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as made:
            listed = {}
            for name, text in texts.items():
                made.writestr(name, text)
                listed[name] = {"bytes": len(text), "sha256": hashlib.sha256(text).hexdigest()}
            count = _Count(sum(file.stat().st_size for file in files), progress)
            for file in files:
                name = file.relative_to(folder.root).as_posix()
                listed[name] = _add(made, file, name, count)
            manifest = {
                "kind": KIND,
                "format": FORMAT,
                "program": version,
                "measurement_version": MEASUREMENT_VERSION,
                "made_utc": made_at.astimezone(dt.UTC).isoformat(timespec="seconds"),
                "person": uid,
                "files": listed,
            }
            made.writestr(MANIFEST, json.dumps(manifest, indent=1))
        with beside.open("rb") as written:
            os.fsync(written.fileno())
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise BadInput(
            what=f"{path} cannot be written: {error.strerror or error}.",
            means="No archive was made; what is stored is untouched.",
            do="Give a place where you may write and that has room.",
        ) from error
    missing = sum(not folder.journal(place).exists() for place in places)
    return Archived(uid, person_export["person"]["name"], len(person_export["holds"]), len(places) - missing, missing)


def import_archive(
    store: Store,
    folder: DataFolder,
    path: Path,
    *,
    who: str = "command line",
    although_erased: bool = False,
    progress: Progress | None = None,
    before_commit: Callable[[], None] | None = None,
) -> Archived:
    """Put an archive's person into a store and a data folder, all of it or nothing.

    Every file is checked against the manifest before anything is written. ``before_commit`` is called before the rows
    are written: interrupted after that, rows could be without their journals.

    Raises
    ------
    BadArchive, BadPersonExport, PersonIsHere, PersonWasErased
    """
    with _opened(path) as archive:
        # Everything is read twice: to check it, and to unpack it.
        count = _Count(2 * sum(info.file_size for info in archive.infolist()), progress)
        files = _checked(archive, count)
        person_export = _json(archive, PERSON_EXPORT)
        if not isinstance(person_export, dict):
            raise _bad(f"{PERSON_EXPORT} holds no object.")
        person_export = in_current_format(person_export)
        journals = [name for name in files if name not in (PERSON_EXPORT, HOLDS, WORDS)]
        _check_journals(person_export, journals)
        _check_places_free(folder, journals)
        made: list[Path] = []
        try:
            made.extend(_extract(archive, folder, name, count) for name in journals)
            if before_commit is not None:
                before_commit()
            uid = write_person_export(store, person_export, who=who, although_erased=although_erased)
        except BaseException:
            for file in made:
                file.unlink(missing_ok=True)
            raise
    main = len({_EXTRA.sub("", name) for name in journals})
    name = str(person_export["person"]["name"])
    return Archived(uid, name, len(person_export["holds"]), main, len(person_export["sessions"]) - main)


class _Count:
    """Counts bytes as they pass and reports them every few pieces."""

    def __init__(self, whole: int, progress: Progress | None) -> None:
        self._done, self._whole, self._progress, self._reported = 0, whole, progress, 0

    def more(self, size: int) -> None:
        self._done += size
        if self._progress is not None and self._done - self._reported >= 4 * _CHUNK:
            self._reported = self._done
            self._progress(min(self._done, self._whole), self._whole)


def _add(made: zipfile.ZipFile, file: Path, name: str, count: _Count) -> dict[str, Any]:
    """Copy a journal into the archive as it is at this moment, and return its length and hash."""
    digest, size = hashlib.sha256(), 0
    with file.open("rb") as content, made.open(name, "w", force_zip64=True) as out:
        while piece := content.read(_CHUNK):
            digest.update(piece)
            size += len(piece)
            out.write(piece)
            count.more(len(piece))
    return {"bytes": size, "sha256": digest.hexdigest()}


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except FileNotFoundError as error:
        raise _bad(f"There is no file {path}.") from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        lzma.LZMAError,
        struct.error,
        EOFError,
        NotImplementedError,  # raised by zipfile for a compression or version that it does not know
        UnicodeError,
    ) as error:
        raise _bad(f"{path} is no whole zip file: {error}.") from error
    except OSError as error:
        raise _bad(f"{path} cannot be read, or its journals cannot be written: {error.strerror or error}.") from error


def _json(archive: zipfile.ZipFile, name: str) -> Any:
    try:
        info = archive.getinfo(name)
        if info.file_size > MOST_TEXT_BYTES:
            raise _bad(f"{name} is larger than anything expected.")
        return json.loads(archive.read(name))
    except KeyError as error:
        raise _bad(f"{name} is missing.") from error
    except (ValueError, RuntimeError) as error:  # nested too deeply, or locked with a password
        raise _bad(f"{name} cannot be read: {error}.") from error


def _checked(archive: zipfile.ZipFile, count: _Count) -> dict[str, Any]:
    """Return the manifest's files after comparing every one of them with its length and hash."""
    manifest = _json(archive, MANIFEST)
    if not isinstance(manifest, dict) or manifest.get("kind") != KIND or manifest.get("format") != FORMAT:
        raise _bad("It is no archive of a person, or it is of a newer program.")
    files = manifest.get("files")
    if not isinstance(files, dict) or not all(isinstance(entry, dict) for entry in files.values()):
        raise _bad("Its manifest lists no files.")
    there = [info.filename for info in archive.infolist()]
    if sorted(there) != sorted([MANIFEST, *files]):
        raise _bad("Its files are not those that its manifest lists.")
    if any(info.flag_bits & 1 for info in archive.infolist()):
        raise _bad("It is locked with a password.")
    for name, entry in files.items():
        wanted = entry.get("bytes")
        if not isinstance(wanted, int):
            raise _bad("Its manifest lists no lengths.")
        digest, size = hashlib.sha256(), 0
        with archive.open(name) as content:
            while piece := content.read(_CHUNK):
                size += len(piece)
                digest.update(piece)
                count.more(len(piece))
                if size > wanted:
                    break
        if size != wanted or digest.hexdigest() != entry.get("sha256"):
            raise _bad(f"{name} is not as it was when the archive was made.")
    return files


def _check_journals(person_export: Mapping[str, Any], names: list[str]) -> None:
    """Refuse journals that belong to none of the person's sessions, and paths that lead elsewhere."""
    try:
        places = {str(session["journal"]) for session in person_export["sessions"]}
    except (KeyError, TypeError) as error:
        raise BadPersonExport(
            what=f"The archive's {PERSON_EXPORT} lists no sessions.",
            means="Nothing was imported; what is stored is untouched.",
            do="Take an archive as this program wrote it.",
        ) from error
    for name in [*names, *places]:
        if not _JOURNAL.fullmatch(name) or ".." in name.split("/"):
            raise _bad(f"{name[:80]!r} is no place for a journal.")
    strange = [name for name in names if _EXTRA.sub("", name) not in places]
    if strange:
        raise _bad(f"{strange[0]} belongs to no session of the person.")


def _check_places_free(folder: DataFolder, names: list[str]) -> None:
    for name in names:
        if files_of(folder, _EXTRA.sub("", name)):
            raise PersonIsHere(
                what=f"There is a journal {name} in {folder.root} already.",
                means="It would be written over, so nothing was imported.",
                do="Look whose it is; the person may be here already (hang-monitor person list).",
            )


def _extract(archive: zipfile.ZipFile, folder: DataFolder, name: str, count: _Count) -> Path:
    path = folder.root / name
    for parent in reversed(path.relative_to(folder.root).parents[:-1]):
        private_folder(folder.root / parent)
    private_file(path)
    try:
        with archive.open(name) as content, path.open("wb") as out:
            while piece := content.read(_CHUNK):
                out.write(piece)
                count.more(len(piece))
            out.flush()
            os.fsync(out.fileno())
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return path


def _read_me(version: str, made_at: dt.datetime) -> str:
    return f"""Everything the hang monitor stores about one person.
Made on {made_at.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC by version {version or "unknown"};
version of the measurement: {MEASUREMENT_VERSION}.

person.json    Every row of the database: the person, intakes, pain entries, programmes, hangs entered by hand,
               sessions on the rig with its description and calibration, holds with their results, corrections.
               Names carry units: _N newtons, _s seconds, _m metres, _utc_ns nanoseconds since 1970 in UTC.
               alpha is the share of bodyweight on the feet, beta the share on the bar.
holds.csv      The holds with their corrections, for a spreadsheet, with units in the header.
journals/      The raw readings of the load cells, one file a session, each with its rig and calibration in front:
               hang-monitor analyse FILE.journal reads them.
manifest.json  Length and SHA-256 of every file.

To import it on another machine: hang-monitor person import FILE.zip
"""


def _bad(what: str) -> BadArchive:
    return BadArchive(
        what=what,
        means="Nothing was imported; what is stored is untouched.",
        do="Give a file that hang-monitor person export has written, and copy it again if it may be damaged.",
    )
