"""The rig: which cells carry the bar and the platform, where they stand, what the mount may bear."""

from __future__ import annotations

import contextlib
import math
import os
import tempfile
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import tomli_w

from monitor.errors import MonitorError

Part = Literal["bar", "platform"]

STANDARD_GRAVITY_m_s2 = 9.80665
"""Standard acceleration of free fall, exact by definition (3rd CGPM, 1901)."""

LOWEST_RATE_Hz, HIGHEST_RATE_Hz = 50.0, 1000.0
HIGHEST_GRAVITY_m_s2, LOWEST_GRAVITY_m_s2 = 9.84, 9.76


class RigNotFound(MonitorError):
    """There is no rig description at that place, or it cannot be read."""

    code = "rig-not-found"


class BadRig(MonitorError):
    """A rig description that cannot be used."""

    code = "bad-rig"


class WrongBoard(MonitorError):
    """The board's channels are not those of the rig description."""

    code = "wrong-board"


@dataclass(frozen=True, slots=True)
class Channel:
    """One load cell. x is to the hanging person's right, y to the front, both in metres from the bar's middle.

    ``rated_N`` is the cell's rated capacity, None where it is not known.
    """

    name: str
    part: Part
    x_m: float = 0.0
    y_m: float = 0.0
    rated_N: float | None = None


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig as it stands in its hall.

    Attributes
    ----------
    channels : tuple of Channel
        In the order of the converter's channels.
    nominal_rate_Hz : float
        What the converter is said to do; a hint, the measured rate stands next to it.
    reading_delay_s : float or None
        From the middle of a conversion to its time stamp; None is half a sample interval.
    mount_rating_N : float or None
        Rated working load of the mount.
    gravity_m_s2 : float
    invented : bool
        True for demonstrations: every screen and report says so.
    """

    name: str
    channels: tuple[Channel, ...]
    nominal_rate_Hz: float = 80.0
    reading_delay_s: float | None = None
    mount_rating_N: float | None = None
    gravity_m_s2: float = STANDARD_GRAVITY_m_s2
    invented: bool = False

    def __post_init__(self) -> None:
        _check(self)

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the channels in order."""
        return tuple(c.name for c in self.channels)

    @property
    def bar_index(self) -> tuple[int, ...]:
        """Return the columns of the bar's cells; empty where only the feet are weighed."""
        return tuple(i for i, c in enumerate(self.channels) if c.part == "bar")

    @property
    def platform_index(self) -> tuple[int, ...]:
        """Return the columns of the platform's cells; empty where there is no platform."""
        return tuple(i for i, c in enumerate(self.channels) if c.part == "platform")

    @property
    def has_bar(self) -> bool:
        """Say whether the bar is weighed; where it is not, its load is inferred from the feet's."""
        return bool(self.bar_index)

    @property
    def has_platform(self) -> bool:
        """Say whether the feet are weighed too."""
        return bool(self.platform_index)

    def delay_s(self, rate_Hz: float) -> float:
        """Return how long after its middle a reading is stamped, at the given rate (1/s)."""
        return 0.5 / rate_Hz if self.reading_delay_s is None else self.reading_delay_s


_RIG_KEYS = {
    "name": "text",
    "nominal_rate_Hz": "number",
    "reading_delay_s": "number",
    "mount_rating_N": "number",
    "gravity_m_s2": "number",
    "invented": "yes/no",
    "channels": "list",
}
_CHANNEL_KEYS = {"name": "text", "part": "text", "x_m": "number", "y_m": "number", "rated_N": "number"}


def _bad(what: str, do: str) -> BadRig:
    return BadRig(what=what, means="The rig's loads cannot be told apart or placed, so nothing is measured.", do=do)


def _check(rig: Rig) -> None:
    """Refuse a rig that no measurement can stand on."""
    if not rig.channels:
        raise _bad("The rig description has no cell.", 'Add at least one [[channels]] with part = "bar" or "platform".')
    names = [c.name for c in rig.channels]
    for name in names:
        if not name.strip():
            raise _bad("A channel has no name.", "Give every [[channels]] a name of its own.")
        if names.count(name) > 1:
            raise _bad(f"Two channels are called {name}.", "Give every [[channels]] a name of its own.")
    for channel in rig.channels:
        if channel.part not in ("bar", "platform"):
            raise _bad(f"The part of channel {channel.name} is {channel.part!r}.", 'Write part = "bar" or "platform".')
    numbers: dict[str, float | None] = {
        "nominal_rate_Hz": rig.nominal_rate_Hz,
        "reading_delay_s": rig.reading_delay_s,
        "mount_rating_N": rig.mount_rating_N,
        "gravity_m_s2": rig.gravity_m_s2,
    }
    for channel in rig.channels:
        for key in ("x_m", "y_m", "rated_N"):
            numbers[f"{key} of {channel.name}"] = getattr(channel, key)
    for key, value in numbers.items():
        if value is not None and not math.isfinite(value):
            raise _bad(f"{key} is {value}.", f"Write {key} as a plain number.")
        if value is not None and key.startswith(("rated_N", "mount_rating_N")) and value <= 0:
            raise _bad(f"{key} is {value:g} N.", "Write the rating in newtons (1 kgf is 9.80665 N), above 0.")
    if not LOWEST_RATE_Hz <= rig.nominal_rate_Hz <= HIGHEST_RATE_Hz:
        raise _bad(
            f"nominal_rate_Hz is {rig.nominal_rate_Hz:g}.",
            f"Set the converter to between {LOWEST_RATE_Hz:g} and {HIGHEST_RATE_Hz:g} readings per second.",
        )
    if not LOWEST_GRAVITY_m_s2 <= rig.gravity_m_s2 <= HIGHEST_GRAVITY_m_s2:
        raise _bad(
            f"gravity_m_s2 is {rig.gravity_m_s2:g}, which is found nowhere on the ground.",
            "Leave it out for standard gravity, or write the local value (9.780 at the equator, 9.832 at the poles).",
        )
    if rig.reading_delay_s is not None and not 0 <= rig.reading_delay_s <= 1:
        raise _bad(f"reading_delay_s is {rig.reading_delay_s:g}.", "Write seconds between 0 and 1, or leave it out.")


def _typed(data: object, keys: dict[str, str], place: str) -> dict[str, Any]:
    """Return ``data`` after every key and kind of value was checked."""
    if not isinstance(data, dict):
        raise _bad(f"{place} is no table.", "Compare with the example in docs/rig-description.md.")
    for key, value in data.items():
        kind = keys.get(key)
        if kind is None:
            raise _bad(f"{place} has an unknown key {key!r}.", f"Known keys: {', '.join(sorted(keys))}.")
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        fits = {
            "text": isinstance(value, str),
            "number": is_number,
            "yes/no": isinstance(value, bool),
            "list": isinstance(value, (list, tuple)),
        }[kind]
        if not fits:
            wanted = {"text": "text in quotes", "number": "a number", "yes/no": "true or false", "list": "a list"}[kind]
            raise _bad(f"{key} in {place} is {value!r}.", f"Write {key} as {wanted}.")
    return {key: float(value) if keys[key] == "number" else value for key, value in data.items()}


def rig_from_dict(data: object) -> Rig:
    """Build a rig from plain data (a rig file, or the note in a journal).

    Raises
    ------
    BadRig
        Unknown or missing key, wrong kind of value, no cell, doubled name, rate out of range.
    """
    fields = _typed(data, _RIG_KEYS, "the rig description")
    for key in ("name", "channels"):
        if key not in fields:
            raise _bad(f"The rig description lacks {key}.", "Compare with the example in docs/rig-description.md.")
    channels = []
    for number, entry in enumerate(fields.pop("channels"), start=1):
        channel = _typed(entry, _CHANNEL_KEYS, f"channel {number}")
        for key in ("name", "part"):
            if key not in channel:
                raise _bad(f"Channel {number} lacks {key}.", "Compare with the example in docs/rig-description.md.")
        channels.append(Channel(**channel))
    return Rig(channels=tuple(channels), **fields)


def check_channels(rig: Rig, channels: int) -> None:
    """Check that a board sends as many channels as the rig has.

    Raises
    ------
    WrongBoard
    """
    if channels != len(rig.channels):
        raise WrongBoard(
            what=f"The board sends {channels} channels; the rig description has {len(rig.channels)}.",
            means="It is not known which cell sends what, so nothing is measured.",
            do="Use the rig description that belongs to this board, or fix its list of channels.",
        )


def rig_to_dict(rig: Rig) -> dict[str, Any]:
    """Return the rig as plain data; what is not known is left out."""
    head = {key: getattr(rig, key) for key in _RIG_KEYS if key != "channels" and getattr(rig, key) is not None}
    channels = [
        {key: getattr(channel, key) for key in _CHANNEL_KEYS if getattr(channel, key) is not None}
        for channel in rig.channels
    ]
    return {**head, "channels": channels}


def load_rig(path: str | os.PathLike[str]) -> Rig:
    """Read a rig description (TOML).

    Raises
    ------
    RigNotFound
        No such file, or it cannot be read.
    BadRig
        It is no TOML, or describes no usable rig.
    """
    try:
        with Path(path).open("rb") as file:
            data = tomllib.load(file)
    except OSError as error:
        raise RigNotFound(
            what=f"The rig description {path} cannot be read: {error.strerror}.",
            means="It is not known which cell carries what.",
            do="Give the path of a rig.toml; docs/rig-description.md shows one.",
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _bad(
            f"{path} is not valid TOML: {error}.", "Mend the line that is named, or start from the example."
        ) from error
    return rig_from_dict(data)


def save_rig(path: str | os.PathLike[str], rig: Rig) -> None:
    """Write a rig description atomically (TOML, mode 0600): after a power cut it is the old one or the new one."""
    write_toml(Path(path), rig_to_dict(rig))


def write_toml(path: Path, data: dict[str, Any]) -> None:
    """Write a TOML file as ``write_whole`` does."""
    write_whole(path, tomli_w.dumps(data).encode())


def write_whole(path: Path, content: bytes) -> None:
    """Write, fsync, rename, fsync the folder: the file (mode 0600) is never seen half written."""
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(temporary).unlink()
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


_BAR_HALF_m, _PLATFORM_HALF_x_m, _PLATFORM_HALF_y_m = 0.55, 0.25, 0.20

STANDARD_CHANNELS: tuple[Channel, ...] = (
    Channel("bar_left", "bar", -_BAR_HALF_m, 0.0),
    Channel("bar_right", "bar", _BAR_HALF_m, 0.0),
    Channel("foot_fl", "platform", -_PLATFORM_HALF_x_m, _PLATFORM_HALF_y_m),
    Channel("foot_fr", "platform", _PLATFORM_HALF_x_m, _PLATFORM_HALF_y_m),
    Channel("foot_rl", "platform", -_PLATFORM_HALF_x_m, -_PLATFORM_HALF_y_m),
    Channel("foot_rr", "platform", _PLATFORM_HALF_x_m, -_PLATFORM_HALF_y_m),
)
"""Cells of a load-curve file: two at the bar's ends, four under the corners of a 0.50 m by 0.40 m platform."""


def rig_from_columns(names: Sequence[str], nominal_rate_Hz: float = 80.0) -> Rig:
    """Return the rig that a load curve with these channel names (without ``_N``) stands for.

    Raises
    ------
    BadRig
        A name is not one of ``STANDARD_CHANNELS``, or there is none.
    """
    known = {c.name: c for c in STANDARD_CHANNELS}
    for name in names:
        if name not in known:
            raise _bad(f"The column {name}_N is not known.", f"Known: {', '.join(f'{n}_N' for n in known)}.")
    return Rig("load curve", tuple(known[n] for n in names), nominal_rate_Hz)
