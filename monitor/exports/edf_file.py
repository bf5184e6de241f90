"""A hold as EDF+: one signal for each cell, and annotations for its edges and what happened in between."""

from __future__ import annotations

import datetime as dt
import io
import math
from typing import BinaryIO

import numpy as np

from monitor.exports.export_format import ExportedCurve, ExportFormat
from monitor.exports.recording import Recording, recording

RECORD_BYTES, MOST_RECORDS = 61_440, 4
"""EDF recommends at most this many bytes per data record (from memory); few long records state the rate best."""

MOST_FILLED = 300
"""A data record may have this many samples more than needed, where that states its length more precisely."""

LENGTH_CHARACTERS, STAMP_PLACES = 8, 6
"""What the file has for the length of a data record, and the decimals that readers compare the records' stamps in."""

PLACES_OF_MARKS = 6


def edf_bytes(recording: Recording) -> bytes:
    """Return the file. The person is not named: EDF+'s own words for "unknown" stand in their place.

    The rate is accurate to about one part in a million (``data_record``); an annotation has the measured one. Samples
    have 16 bits over the range of the channel, so they are rounded to about a hundredth of a newton. The last data
    record is filled up with the last sample.

    Raises
    ------
    ExportLibraryMissing
    """
    edfio = FORMAT.load_library()
    samples, record_s = data_record(recording.rate_Hz, len(recording.load_N), len(recording.names))
    rate_Hz = samples / record_s
    filler = -len(recording.load_N) % samples
    load_N = np.concatenate((recording.load_N, np.repeat(recording.load_N[-1:], filler, axis=0)))
    signals = []
    for channel, name in enumerate(recording.names):
        values = load_N[:, channel]
        low, high = math.floor(values.min()) - 1.0, math.ceil(values.max()) + 1.0
        signals.append(
            edfio.EdfSignal(
                values,
                sampling_frequency=rate_Hz,
                label=name[:16],
                transducer_type=f"load cell, {recording.parts[channel]}"[:80],
                physical_dimension="N",
                physical_range=(low, high),
            )
        )
    marks = [edfio.EdfAnnotation(round(t, PLACES_OF_MARKS), None, word) for t, word in recording.marks]
    marks += [edfio.EdfAnnotation(0.0, None, f"{name}: {text}") for name, text in recording.facts.items()]
    start_ns = recording.hold.onset_utc_ns - round((recording.hold.result.onset_s - recording.start_s) * 1e9)
    start = dt.datetime.fromtimestamp(start_ns // 10**9, dt.UTC)
    made = edfio.Edf(
        signals,
        recording=edfio.Recording(startdate=start.date(), equipment_code="hang-monitor"),
        starttime=start.time(),
        data_record_duration=record_s,
        annotations=marks,
    )
    out = io.BytesIO()
    made.write(out)
    return out.getvalue()


def data_record(rate_Hz: float, rows: int, channels: int) -> tuple[int, float]:
    """Return how many samples a data record has and how long it lasts (s).

    The length is what eight characters tell best, such that the records' time stamps, multiples of it, have no more
    decimals than readers compare: with more, a stamp and the sum of lengths differ for them.
    """
    records = min(MOST_RECORDS, math.ceil(2 * rows * channels / RECORD_BYTES))
    least = math.ceil(rows / records)
    candidates: list[tuple[float, int, float]] = []
    for samples in range(least, least + MOST_FILLED + 1):
        exact_s = samples / rate_Hz
        places = min(STAMP_PLACES, LENGTH_CHARACTERS - 1 - len(str(int(exact_s))))
        length_s = round(exact_s, places)
        if length_s > 0 and all(round(k * length_s, STAMP_PLACES) == k * length_s for k in range(records)):
            candidates.append((abs(length_s / exact_s - 1.0), samples, length_s))
    _, samples, length_s = min(candidates)
    return samples, length_s


def _write_curve(curve: ExportedCurve, out: BinaryIO, version: str) -> None:
    out.write(edf_bytes(recording(curve, version)))


FORMAT = ExportFormat(
    "curves (EDF+)", "edf", "application/octet-stream", curve=_write_curve, library="edfio", extra="edf"
)
