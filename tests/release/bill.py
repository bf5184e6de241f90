"""What is in an installed monitor, as a bill of materials in the open CycloneDX format (version 1.6, JSON)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from packaging.utils import canonicalize_name

from tests.release.building import ROOT
from tests.release.libraries import PROJECT, libraries


def write_bill(path: Path) -> dict[str, Any]:
    """Write the bill of this environment, cut down to what the monitor needs; return it."""
    done = subprocess.run(
        [sys.executable, "-m", "cyclonedx_py", "environment", "--spec-version", "1.6", "--output-format", "JSON",
         "--output-reproducible", "--no-validate", "--pyproject", str(ROOT / "pyproject.toml"), sys.executable],
        capture_output=True, text=True,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    bill = json.loads(done.stdout)
    wanted = {one.name for one in libraries()}
    stored = [one for one in bill["components"] if canonicalize_name(one["name"]) in wanted]
    names = {one["bom-ref"] for one in stored} | {bill["metadata"]["component"]["bom-ref"]}
    bill["components"] = stored
    bill["dependencies"] = [
        {
            "ref": one["ref"],
            **({"dependsOn": left} if (left := [r for r in one.get("dependsOn", ()) if r in names]) else {}),
        }
        for one in bill["dependencies"]
        if one["ref"] in names
    ]
    missing = wanted - {canonicalize_name(one["name"]) for one in stored}
    if missing or canonicalize_name(bill["metadata"]["component"]["name"]) != PROJECT:
        raise RuntimeError(f"the bill lacks {sorted(missing)}")
    path.write_text(json.dumps(bill, indent=1) + "\n")
    return bill
