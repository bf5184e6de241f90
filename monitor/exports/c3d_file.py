"""A hold as C3D: cells as analogue channels, the platform as a force platform with its corners, edges as events.

The format is the public one of the C3D user guide (little-endian, floating point); its layout is written down here from
memory and checked by two independent readers in the tests.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.exports.recording import Recording, recording

_Array = NDArray[np.float64]

BLOCK = 512
MOST_FRAMES = 60_000
"""The header counts frames in 16 bits; longer recordings put several samples into one frame."""

INTEL, FLOATS = 84, -1.0
LONGEST_TEXT = 120
PLATE_CHANNELS = ("Fx1", "Fy1", "Fz1", "Mx1", "My1", "Mz1")


def c3d_bytes(recording: Recording) -> bytes:
    """Return the file.

    The analogue channels are the cells in N (positive downward), ``measured`` (1, or 0 where a sample was
    interpolated), and for a platform with at least three cells the six channels of a force platform of type 2: the
    force on the plate (N) and its moments (N mm) about the middle of the cells' rectangle, in axes x to the right, y to
    the back, z down. Horizontal forces are not measured and stand as 0.
    """
    columns = [recording.load_N, recording.measured.astype(float)[:, None]]
    names = [*recording.names, "measured"]
    units = ["N"] * len(recording.names) + ["-"]
    plate = _plate(recording)
    first_of_plate = len(names) + 1
    if plate is not None:
        columns.append(plate[0])
        names += PLATE_CHANNELS
        units += ["N", "N", "N", "Nmm", "Nmm", "Nmm"]
    data = np.concatenate(columns, axis=1)
    # A power of two, so that readers that divide the two rates in single precision get the whole number.
    per_frame = 1 << max(0, math.ceil(math.log2(len(data) / MOST_FRAMES)))
    frames = len(data) // per_frame
    data = data[: frames * per_frame]
    frame_Hz = recording.rate_Hz / per_frame
    groups = _groups(recording, names, units, frames, frame_Hz)
    if plate is not None:
        groups["FORCE_PLATFORM"] = {
            "USED": _ints([1]),
            "TYPE": _ints([2]),
            "ZERO": _ints([0, 0]),
            "CORNERS": _floats(plate[1].ravel().tolist(), (3, 4, 1)),
            "ORIGIN": _floats([0.0, 0.0, 0.0], (3, 1)),
            "CHANNEL": _ints(list(range(first_of_plate, first_of_plate + 6)), (6, 1)),
        }
    # The section's length stands in itself (where the data begin), so it is built twice.
    blocks = len(_section(groups, 0)) // BLOCK
    groups["POINT"]["DATA_START"] = _ints([2 + blocks])
    header = struct.pack(
        "<BBHHHHHfHHf", 2, 0x50, 0, per_frame * len(names), 1, frames, 0, FLOATS, 2 + blocks, per_frame, frame_Hz
    )
    content = header.ljust(BLOCK, b"\0") + _section(groups, blocks) + data.astype("<f4").tobytes()
    return content + b"\0" * (-len(content) % BLOCK)


def _plate(recording: Recording) -> tuple[_Array, _Array] | None:
    """Return the six channels (n, 6) of the platform and its corners (4, 3) in mm, None where it has no area."""
    on = [part == "platform" for part in recording.parts]
    place_mm = 1000.0 * recording.place_m[on]
    if len(place_mm) < 3:
        return None
    low, high = place_mm.min(axis=0), place_mm.max(axis=0)
    if not bool((high > low).all()):
        return None
    middle = 0.5 * (low + high)
    force = recording.load_N[:, on]
    right, back = place_mm[:, 0] - middle[0], middle[1] - place_mm[:, 1]
    made = np.zeros((len(force), 6))
    made[:, 2] = force.sum(axis=1)
    # r x F with F = (0, 0, Fz), z down.
    made[:, 3] = force @ back
    made[:, 4] = -(force @ right)
    # In the plate's axes: (+x +y), (-x +y), (-x -y), (+x -y); y to the back.
    corners = np.array([[high[0], low[1], 0.0], [low[0], low[1], 0.0], [low[0], high[1], 0.0], [high[0], high[1], 0.0]])
    return made, corners


# Parameters

_Parameter = tuple[int, tuple[int, ...], bytes]


def _ints(values: Sequence[int], dims: tuple[int, ...] | None = None) -> _Parameter:
    shape = dims if dims is not None else (() if len(values) == 1 else (len(values),))
    return 2, shape, struct.pack(f"<{len(values)}H", *values)


def _floats(values: Sequence[float], dims: tuple[int, ...] | None = None) -> _Parameter:
    shape = dims if dims is not None else (() if len(values) == 1 else (len(values),))
    return 4, shape, struct.pack(f"<{len(values)}f", *values)


def _texts(values: Sequence[str]) -> _Parameter:
    raw = [value.encode("ascii", "replace")[:LONGEST_TEXT] for value in values]
    width = max((len(text) for text in raw), default=1) or 1
    return -1, (width, len(raw)), b"".join(text.ljust(width) for text in raw)


def _text(value: str) -> _Parameter:
    raw = value.encode("ascii", "replace")[:255] or b" "
    return -1, (len(raw),), raw


def _groups(
    recording: Recording, names: Sequence[str], units: Sequence[str], frames: int, frame_Hz: float
) -> dict[str, dict[str, _Parameter]]:
    marks = recording.marks
    times = [value for t, _ in marks for value in (float(t // 60), t % 60)]
    hold = recording.hold
    numbers = {
        "START_S": recording.start_s,
        "DURATION_S": hold.result.duration_s,
        "U_DURATION_S": hold.result.duration_u_s,
        "BODYWEIGHT_N": hold.bodyweight_N,
        "U_BODYWEIGHT": hold.bodyweight_u_N,
    }
    return {
        "POINT": {
            "USED": _ints([0]),
            "FRAMES": _ints([frames]),
            "DATA_START": _ints([0]),
            "SCALE": _floats([FLOATS]),
            "RATE": _floats([frame_Hz]),
            "UNITS": _text("mm"),
            "LABELS": _texts([]),
            "DESCRIPTIONS": _texts([]),
        },
        "ANALOG": {
            "USED": _ints([len(names)]),
            "LABELS": _texts(names),
            "DESCRIPTIONS": _texts([_described(recording, name) for name in names]),
            "GEN_SCALE": _floats([1.0]),
            "SCALE": _floats([1.0] * len(names), (len(names),)),
            "OFFSET": _ints([0] * len(names), (len(names),)),
            "UNITS": _texts(units),
            "RATE": _floats([recording.rate_Hz]),
        },
        "FORCE_PLATFORM": {"USED": _ints([0])},
        "EVENT": {
            "USED": _ints([len(marks)]),
            "CONTEXTS": _texts(["General"] * len(marks)),
            "LABELS": _texts([word for _, word in marks]),
            "TIMES": _floats(times, (2, len(marks))),
        },
        "HANG_MONITOR": {
            **{name: _text(value) for name, value in recording.facts.items()},
            **{name: _floats([value]) for name, value in numbers.items() if value is not None},
        },
    }


def _described(recording: Recording, name: str) -> str:
    if name in recording.names:
        k = recording.names.index(name)
        x_m, y_m = recording.place_m[k].tolist()
        return f"{recording.parts[k]} cell at x {x_m:g} m, y {y_m:g} m"
    return "1 measured, 0 interpolated" if name == "measured" else "platform, x right, y back, z down"


def _section(groups: dict[str, dict[str, _Parameter]], blocks: int) -> bytes:
    """Return the parameter section, padded to whole blocks; ``blocks`` is how many there are."""
    records: list[bytes] = []
    for number, (group, parameters) in enumerate(groups.items(), start=1):
        records.append(_record(group, -number, b"\0"))
        for name, (kind, dims, data) in parameters.items():
            body = struct.pack("<bB", kind, len(dims)) + bytes(dims) + data + b"\0"
            records.append(_record(name, number, body))
    content = struct.pack("<BBBB", 1, 0x50, blocks, INTEL) + b"".join(records) + b"\0\0"
    return content + b"\0" * (-len(content) % BLOCK)


def _record(name: str, number: int, body: bytes) -> bytes:
    """Return a group's or a parameter's record: its name, how far the next one is, and its body."""
    raw = name.encode("ascii", "replace")[:LONGEST_TEXT]
    return struct.pack("<bb", len(raw), number) + raw + struct.pack("<H", 2 + len(body)) + body


def _write_curve(curve: ExportedCurve, out: BinaryIO, version: str) -> None:
    out.write(c3d_bytes(recording(curve, version)))


FORMAT = ExportFormat("curves (C3D)", "c3d", "application/octet-stream", curve=_write_curve)
