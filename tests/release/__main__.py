"""``python -m tests.release [--into dist] [--licences]``: build what is handed out; or write docs/licences.md."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

from tests.release.bill import write_bill
from tests.release.building import ROOT, build
from tests.release.libraries import page


def main() -> None:
    """Build."""
    requested = argparse.ArgumentParser(prog="python -m tests.release", description=__doc__)
    requested.add_argument("--into", type=Path, default=ROOT / "dist")
    requested.add_argument("--licences", action="store_true", help="write docs/licences.md and nothing else")
    given = requested.parse_args()
    if given.licences:
        (ROOT / "docs" / "licences.md").write_text(page(), encoding="utf-8")
        return
    with tempfile.TemporaryDirectory() as source:
        built = build(given.into, Path(source))
    bill = write_bill(given.into / "sbom.cyclonedx.json")
    # Against the standard's own schema; it takes some seconds, which the tests need not spend.
    complaint = JsonStrictValidator(SchemaVersion.V1_6).validate_str(json.dumps(bill))
    if complaint is not None:
        raise SystemExit(f"the bill of materials is not valid: {complaint}")
    sys.stdout.write(
        f"{built.wheel}: {built.wheel.stat().st_size} bytes\n{built.sdist}: {built.sdist.stat().st_size} bytes\n"
        f"{given.into / 'sbom.cyclonedx.json'}: {len(bill['components'])} libraries\n"
    )


main()
