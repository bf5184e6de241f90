"""Who may come in: people with passcodes, and the devices that are signed in. One small file, readable by its owner.

It is a file of its own and not a table: a damaged database must not grant access, and ``hang-monitor passcode`` works
while the monitor runs.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import itertools
import json
import os
import secrets
import tempfile
import threading
import time
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal

from monitor.errors import MonitorError
from monitor.store.files.file_copies import sync_folder

Role = Literal["wall", "coach", "owner"]
ROLES: tuple[Role, ...] = ("wall", "coach", "owner")
PASSCODE_ROLES: tuple[Role, ...] = ("coach", "owner")

SHORTEST_PASSCODE = 8
LONGEST_PASSCODE = 128
LONGEST_NAME = 40
MOST_SIGN_INS = 200
DAY_S = 86_400.0
LASTS_S: dict[Role, float] = {"wall": 400 * DAY_S, "coach": 30 * DAY_S, "owner": 0.5 * DAY_S}
"""How long a device stays signed in. A wall screen sees little and should not ask at six in the morning; an owner's
device can do everything and should not lie around open."""

_VERSION = 1


class AccessNotUsable(MonitorError):
    """The file of passcodes is damaged or cannot be read or written; nobody gets in."""

    code = "access-not-usable"


class BadPasscode(MonitorError):
    """A passcode that is too short or too easy, or a name that cannot be used."""

    code = "bad-passcode"


class UnknownAccount(MonitorError):
    """There is nobody of this name with a passcode."""

    code = "unknown-account"


class LastOwner(MonitorError):
    """Without the last owner nobody could manage the others."""

    code = "last-owner"


class Argon2id:
    """argon2id with the parameters of RFC 9106 section 4 for little memory: 3 passes, 64 MiB, 4 lanes."""

    def __init__(self) -> None:
        from argon2 import PasswordHasher
        from argon2.profiles import RFC_9106_LOW_MEMORY

        self._hasher = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)

    def hash(self, passcode: str) -> str:
        """Return the encoded hash with salt and parameters."""
        return self._hasher.hash(passcode)

    def verify(self, encoded: str, passcode: str) -> bool:
        """Say whether a passcode belongs to an encoded hash; a damaged hash belongs to none."""
        from argon2.exceptions import InvalidHashError, VerificationError

        try:
            return self._hasher.verify(encoded, passcode)
        except (VerificationError, InvalidHashError, ValueError):
            return False


@dataclass(frozen=True, slots=True)
class Account:
    """A person with a passcode."""

    name: str
    role: Role
    passcode: str
    since_utc_s: float


@dataclass(frozen=True, slots=True)
class SignIn:
    """A device that is signed in. Its token is known to the device alone; kept is the token's SHA-256."""

    id: str
    token_sha256: str
    name: str
    role: Role
    device: str
    begun_utc_s: float
    ends_utc_s: float


@dataclass(frozen=True, slots=True)
class _Content:
    accounts: tuple[Account, ...] = ()
    sign_ins: tuple[SignIn, ...] = ()


class AccessFile:
    """Accounts and signed-in devices. Any thread and any process may use it: each change locks, reads, writes anew.

    Parameters
    ----------
    path : Path
        Made at the first change, mode 0600.
    hasher : Argon2id or None
        None: made when it is needed.
    now_s : callable
        Seconds of UTC.
    """

    def __init__(self, path: Path, hasher: Argon2id | None = None, now_s: Callable[[], float] = time.time) -> None:
        self.path = path
        self._hasher = hasher
        self._now_s = now_s
        self._lock = threading.Lock()
        self._known: tuple[tuple[int, int, int] | None, _Content] = (None, _Content())
        self._nobody = ""

    # People

    def accounts(self) -> tuple[Account, ...]:
        """Return everybody with a passcode."""
        return self._read().accounts

    @property
    def has_owner(self) -> bool:
        """Say whether there is an owner with a passcode."""
        return any(account.role == "owner" for account in self.accounts())

    def set_passcode(self, name: str, role: Role, passcode: str) -> Account:
        """Set somebody's passcode and role; every device that was signed in under that name is signed out.

        Raises
        ------
        BadPasscode
        LastOwner
            The first account must be an owner's, and the last owner cannot become a coach.
        AccessNotUsable
        """
        wanted, secret = _checked_name(name), _plain(passcode)
        _check_passcode(wanted, secret)
        if role not in PASSCODE_ROLES:
            raise _bad(f"There is no role {role!r} with a passcode.", "Give coach or owner.")
        account = Account(wanted, role, self._hashing().hash(secret), self._now_s())
        with self._changing() as (content, write):
            others = tuple(a for a in content.accounts if a.name != wanted)
            if not any(a.role == "owner" for a in (*others, account)):
                raise _last_owner()
            write(_Content((*others, account), tuple(s for s in content.sign_ins if s.name != wanted)))
        return account

    def forget(self, name: str) -> None:
        """Take somebody's passcode away and sign their devices out.

        Raises
        ------
        UnknownAccount, LastOwner, AccessNotUsable
        """
        with self._changing() as (content, write):
            others = tuple(a for a in content.accounts if a.name != name)
            if len(others) == len(content.accounts):
                raise UnknownAccount(
                    what=f"Nobody of the name {name[:LONGEST_NAME]!r} has a passcode.",
                    means="Nothing was changed.",
                    do="hang-monitor passcode --list shows who has one.",
                )
            if others and not any(a.role == "owner" for a in others):
                raise _last_owner()
            # Without any account nobody may stay in: wall screens were let in by one of them.
            write(_Content(others, tuple(s for s in content.sign_ins if others and s.name != name)))

    def check(self, name: str, passcode: str) -> Account | None:
        """Return whose passcode this is; None for a wrong name as for a wrong passcode, after the same work."""
        wanted, secret = unicodedata.normalize("NFKC", name.strip()), _plain(passcode[: 4 * LONGEST_PASSCODE])
        account = next((a for a in self.accounts() if a.name == wanted), None)
        hasher = self._hashing()
        if not self._nobody:
            self._nobody = hasher.hash(secrets.token_hex(16))
        fits = hasher.verify(self._nobody if account is None else account.passcode, secret)
        return account if fits else None

    # Devices

    def sign_in(self, name: str, role: Role, device: str) -> str:
        """Sign a device in and return its token (256 random bits), which is kept nowhere else."""
        token, now_s = secrets.token_urlsafe(32), self._now_s()
        fresh = SignIn(secrets.token_hex(6), _digest(token), name, role, device[:80], now_s, now_s + LASTS_S[role])
        with self._changing() as (content, write):
            alive = [s for s in content.sign_ins if s.ends_utc_s > now_s]
            write(replace(content, sign_ins=(*alive[-(MOST_SIGN_INS - 1) :], fresh)))
        return token

    def sign_in_of(self, token: str) -> SignIn | None:
        """Return the sign-in of a token; None for a wrong, ended or signed-out one."""
        digest, now_s = _digest(token), self._now_s()
        match = None
        for one in self._read().sign_ins:
            if secrets.compare_digest(one.token_sha256, digest):
                match = one
        return match if match is not None and match.ends_utc_s > now_s else None

    def sign_ins(self) -> tuple[SignIn, ...]:
        """Return the devices that are signed in now."""
        now_s = self._now_s()
        return tuple(one for one in self._read().sign_ins if one.ends_utc_s > now_s)

    def sign_out(self, sign_in_id: str) -> bool:
        """Sign a device out; say whether it was in."""
        with self._changing() as (content, write):
            rest = tuple(s for s in content.sign_ins if s.id != sign_in_id)
            write(replace(content, sign_ins=rest))
            return len(rest) < len(content.sign_ins)

    def sign_everyone_out(self) -> None:
        """Sign every device out, as after a restore."""
        with self._changing() as (content, write):
            write(replace(content, sign_ins=()))

    # The file

    def _hashing(self) -> Argon2id:
        if self._hasher is None:
            self._hasher = Argon2id()
        return self._hasher

    def _read(self) -> _Content:
        with self._lock:
            try:
                stat = self.path.stat()
            except FileNotFoundError:
                self._known = (None, _Content())
                return self._known[1]
            except OSError as error:
                raise self._not_usable(error.strerror or str(error)) from error
            key = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
            if self._known[0] != key:
                self._known = (key, self._parsed())
            return self._known[1]

    def _parsed(self) -> _Content:
        try:
            data = json.loads(self.path.read_bytes())
            if data["version"] != _VERSION:
                raise ValueError(f"version {data['version']!r} is not known")
            accounts = tuple(Account(**_typed(row, Account)) for row in data["accounts"])
            sign_ins = tuple(SignIn(**_typed(row, SignIn)) for row in data["sign_ins"])
            if not all(one.token_sha256.isascii() for one in sign_ins):
                raise ValueError("the hash of a device's token is none")
        except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
            raise self._not_usable(f"{type(error).__name__}: {error}") from error
        return _Content(accounts, sign_ins)

    @contextlib.contextmanager
    def _changing(self) -> Iterator[tuple[_Content, Callable[[_Content], None]]]:
        try:
            lock = os.open(self.path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise self._not_usable(error.strerror or str(error)) from error
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield self._read(), self._write
        finally:
            os.close(lock)

    def _write(self, content: _Content) -> None:
        """Write beside, force to the disk, rename: never seen half written."""
        data = {
            "version": _VERSION,
            "accounts": [asdict(one) for one in content.accounts],
            "sign_ins": [asdict(one) for one in content.sign_ins],
        }
        try:
            handle, beside = tempfile.mkstemp(prefix=f".{self.path.name}.", dir=self.path.parent)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(json.dumps(data, indent=1).encode())
                    file.flush()
                    os.fsync(file.fileno())
                Path(beside).replace(self.path)
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise
            sync_folder(self.path.parent)
        except OSError as error:
            raise self._not_usable(error.strerror or str(error)) from error

    def _not_usable(self, why: str) -> AccessNotUsable:
        return AccessNotUsable(
            what=f"The file of passcodes {self.path} cannot be used: {why}.",
            means="It is not known who may come in, so nobody is let in from the network.",
            do="Mend its permissions or the disk; or take the file away and set passcodes anew with "
            "hang-monitor passcode.",
        )


def _typed(row: Any, kind: type[Account] | type[SignIn]) -> dict[str, Any]:
    """Return a row whose values have the types that the class declares; anything else is damage."""
    if not isinstance(row, dict) or set(row) != set(kind.__dataclass_fields__):
        raise ValueError("an entry has other fields than expected")
    for key, value in row.items():
        if not isinstance(value, (int, float) if key.endswith("_s") else str):
            raise ValueError(f"{key} is no {'number' if key.endswith('_s') else 'text'}")
    if row["role"] not in ROLES:
        raise ValueError(f"role {row['role']!r} is not known")
    return row


def _digest(token: str) -> str:
    # A random token of 256 bits needs no slow hash: there is nothing to guess.
    return hashlib.sha256(token.encode()).hexdigest()


def _plain(passcode: str) -> str:
    # Two keyboards may send one letter as different code points.
    return unicodedata.normalize("NFKC", passcode)


def _checked_name(name: str) -> str:
    wanted = unicodedata.normalize("NFKC", name.strip())
    if not 1 <= len(wanted) <= LONGEST_NAME or not wanted.isprintable():
        raise _bad("The name cannot be used.", f"Give a name of 1 to {LONGEST_NAME} printable characters.")
    return wanted


def _check_passcode(name: str, passcode: str) -> None:
    if not SHORTEST_PASSCODE <= len(passcode) <= LONGEST_PASSCODE:
        raise _bad(
            f"The passcode has {len(passcode)} characters.",
            f"Give {SHORTEST_PASSCODE} to {LONGEST_PASSCODE}; a few words that only you put together are best.",
        )
    low = passcode.lower()
    steps = {ord(b) - ord(a) for a, b in itertools.pairwise(low)}
    if low == name.lower() * (len(low) // max(1, len(name))) or len(set(low)) < 4 or steps in ({1}, {-1}):
        raise _bad("The passcode would be among the first guesses.", "Give something longer and less regular.")


def _bad(what: str, do: str) -> BadPasscode:
    return BadPasscode(what=what, means="Nothing was changed.", do=do)


def _last_owner() -> LastOwner:
    return LastOwner(
        what="There would be no owner with a passcode.",
        means="Nobody could manage passcodes and devices; nothing was changed.",
        do="Give the first passcode to an owner, or make somebody else an owner first.",
    )
