"""Harm to good input: what hypothesis and the fuzzer's own start set are made of."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

WORDS = (
    b"\0", b"\0\0", b"\n", b"\r\n", b",", b"nan", b"inf", b"-inf", b"1e309", b"-0", b"9" * 400, b"\xff" * 8,
    b"\x80\0\0\0", b"[", b"]" * 50, b"[" * 2000, b"{", b'"', b"'''", b"=", b"#", b"\xef\xbb\xbf", b"\xc3\x28", b"true",
    b"null", b"../", b"9223372036854775808", b"-1", b"0", b"1e-320", b"*", b"\x1f\x8b", b"PK\x03\x04",
)  # fmt: skip

_STEP = st.tuples(
    st.sampled_from(["flip", "cut", "drop", "repeat", "insert", "word", "swap"]),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.integers(0, 255),
    st.sampled_from(WORDS),
)


def harmed(seeds: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Return a strategy: one of the seeds after a few steps of harm, or plain bytes."""
    steps = st.lists(_STEP, max_size=6)
    return st.one_of(st.builds(_apply, st.sampled_from(list(seeds)), steps), st.binary(max_size=300))


def _apply(data: bytes, steps: list[tuple[str, float, float, int, bytes]]) -> bytes:
    for kind, first, second, byte, word in steps:
        at = int(first * len(data))
        end = min(len(data), at + 1 + int(second * second * len(data)))
        if kind == "flip" and at < len(data):
            data = data[:at] + bytes((data[at] ^ (byte or 1),)) + data[at + 1 :]
        elif kind == "cut":
            data = data[:at]
        elif kind == "drop":
            data = data[:at] + data[end:]
        elif kind == "repeat":
            data = data[:end] + data[at:]
        elif kind == "insert":
            data = data[:at] + bytes((byte,)) + data[at:]
        elif kind == "word":
            data = data[:at] + word + data[at:]
        else:
            data = data[end:] + data[:at]
    return data[:200_000]
