"""One input under the coverage-guided fuzzer: ``python -m tests.fuzz.guided NAME FOLDER SECONDS``.

A process of its own, because the fuzzer ends it. FOLDER gets what it found out; a crash leaves ``crash-*`` in it.
"""

from __future__ import annotations

import logging
import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["firmware_bridge", "monitor"]):
    from tests.fuzz.inputs import INPUTS, MOST_BYTES


def main() -> None:
    """Fuzz until the time is up."""
    name, folder, seconds = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    logging.disable(logging.CRITICAL)
    known = folder / "known"
    known.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(INPUTS[name].seeds()):
        (known / f"seed-{number}").write_bytes(seed)
    atheris.Setup(
        [
            sys.argv[0],
            str(known),
            f"-max_total_time={seconds}",
            f"-artifact_prefix={folder}/",
            f"-max_len={MOST_BYTES}",
            "-timeout=20",
            "-rss_limit_mb=2048",
            "-print_final_stats=1",
            "-verbosity=0",
        ],
        INPUTS[name].take,
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
