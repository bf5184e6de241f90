"""Whether the board answers, and reads as fast and as completely as it should."""

from __future__ import annotations

from firmware_bridge.sources import BoardFacts, BoardFault
from monitor.health.verdict import Outcome, Verdict, graded
from monitor.rig import Rig

RATE_GOOD, RATE_DOUBTFUL = 0.06, 0.20
"""Cheap converters run on their own oscillators, several percent off (hardware/electronics.md); more is a wrong setting
(common practice, no source)."""

LOST_GOOD, LOST_DOUBTFUL = 0.001, 0.01
"""Share of readings that may be lost (common practice, no source)."""


def answer_verdict(rig: Rig, facts: BoardFacts | None, trouble: str, remedy: str) -> Verdict:
    """Say whether the board answers, and with the rig's number of channels."""
    title = "The board answers"
    if facts is None:
        words = trouble or "Nothing came from the board."
        return Verdict("board", title, "bad", words, remedy or "Check cable and port; hang-monitor ports lists them.")
    numbers = {
        "channels": facts.channels,
        "protocol": facts.protocol,
        "boot_count": facts.boot_count,
        "rate_Hz": facts.rate_Hz or None,
        "skew_us": facts.skew_us,
    }
    firmware = ".".join(map(str, facts.firmware))
    who = f"Converter {facts.converter}, firmware {firmware}, {facts.channels} channels."
    if facts.channels != len(rig.channels):
        words = f"{who} The rig description has {len(rig.channels)}."
        return Verdict("board", title, "bad", words, "Use the rig description that belongs to this board.", numbers)
    return Verdict("board", title, "good", who, "", numbers)


def rate_verdict(rig: Rig, facts: BoardFacts | None, measured_Hz: float | None) -> Verdict:
    """Compare the measured sample rate with the one that the board states, or the rig's nominal one."""
    title = "Sample rate"
    if measured_Hz is None:
        return Verdict("rate", title, "not_told", "Too few readings came to measure the rate.")
    expected_Hz = facts.rate_Hz if facts is not None and facts.rate_Hz else rig.nominal_rate_Hz
    off = measured_Hz / expected_Hz - 1
    numbers = {"measured_Hz": measured_Hz, "told_Hz": expected_Hz, "nominal_Hz": rig.nominal_rate_Hz}
    words = f"{measured_Hz:.2f} readings per second, {expected_Hz:g} expected."
    outcome = graded(max(abs(off), abs(expected_Hz / rig.nominal_rate_Hz - 1) / 10), RATE_GOOD, RATE_DOUBTFUL)
    do = ""
    if outcome != "good":
        do = "Set nominal_rate_Hz in rig.toml to what the board does, or mend the board's settings."
        if 8 < measured_Hz < 15:
            do = "This is what a converter does whose RATE pin is tied low: tie it high (hardware/electronics.md)."
    return Verdict("rate", title, outcome, words, do, numbers)


def loss_verdict(samples: int, lost: int, damaged: int, faults: tuple[BoardFault, ...]) -> Verdict:
    """Say how many readings were lost, and which faults the board reported."""
    title = "Readings lost"
    whole = samples + lost
    numbers = {"samples": samples, "lost": lost, "damaged_frames": damaged, "faults": len(faults)}
    if not whole:
        return Verdict("losses", title, "not_told", "No readings came.", "", numbers)
    outcome: Outcome = graded(lost / whole, LOST_GOOD, LOST_DOUBTFUL)
    words = f"{lost} of {whole} readings lost, {damaged} damaged frames."
    do = "" if outcome == "good" else "Use a short data cable, no hub, and a computer that is not busy."
    if faults:
        outcome = "bad"
        words += " The board reports: " + "; ".join(sorted({fault.detail for fault in faults})) + "."
        do = "See docs/firmware.md for what the board's faults mean; check that cell's converter and wires."
    return Verdict("losses", title, outcome, words, do, numbers)
