"""What the notebook writes beside its curves."""

from __future__ import annotations

from monitor.measures.flag_words import in_words
from monitor.records.hold_result import HoldResult
from monitor.records.session_result import SessionResult
from monitor.uncertainty import with_u


def duration_words(hold: HoldResult) -> str:
    """Return the hold's duration with its standard uncertainty."""
    return with_u(hold.duration_s, hold.duration_u_s, "s")


def share_words(hold: HoldResult) -> str:
    """Return how the hold was carried: support, kind, share of hands and feet."""
    parts: list[str] = [word for word in (hold.kind, hold.support) if word is not None]
    if hold.beta_mean is not None:
        parts.append(f"hands {with_u(hold.beta_mean, hold.beta_u, '%', scale=100)}")
    if hold.alpha_mean is not None:
        inferred = "" if hold.alpha_direct else " (inferred)"
        parts.append(f"feet {with_u(hold.alpha_mean, hold.alpha_u, '%', scale=100)}{inferred}")
    return ", ".join(parts)


def record_words(result: SessionResult) -> str:
    """Return bodyweight and the state of the record in one line."""
    quality = result.quality
    parts = [f"bodyweight {with_u(result.bodyweight_N, result.bodyweight_u_N, 'N')}"]
    if quality.rate_Hz is not None:
        parts.append(f"{quality.rate_Hz:.1f} readings per second")
    parts.append(f"{quality.samples} readings, {quality.lost} lost, {quality.spikes} wild ones masked")
    if not result.holds:
        parts.append("no hold")
    return "  ·  ".join(parts)


def flag_words(result: SessionResult) -> str:
    """Return what could not be measured, and why, in one line; empty where there is nothing to say."""
    flags = list(dict.fromkeys([*result.flags, *(flag for hold in result.holds for flag in hold.flags)]))
    return f"Noted: {'; '.join(in_words(flag) for flag in flags)}." if flags else ""
