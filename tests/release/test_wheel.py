"""Wheel and source archive: nothing is missing in them, and the wheel runs in an environment of its own."""

from __future__ import annotations

import os
import re
import subprocess
import urllib.request
from pathlib import Path

import pytest

from tests.release.bill import write_bill
from tests.release.building import Built, build, clean_environment, tracked
from tests.release.libraries import libraries, page

DEADLINE_S = 120.0
ROOT = Path(__file__).parents[2]
FREE = re.compile(r"(MIT|BSD|Apache|PSF|MPL|ISC|0BSD|Zlib|CC0|Unlicense|HPND|Python-2|LGPL)[\w.-]*")
"""Licences under which everybody may use and hand on; the list is this project's own judgement."""


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Built:
    return build(tmp_path_factory.mktemp("dist"), tmp_path_factory.mktemp("source"))


def test_every_file_of_the_packages_is_in_both(built):
    ours = {n for n in tracked() if n.startswith(("firmware_bridge/", "monitor/")) and n != "monitor/start.sh"}
    assert ours - built.names_in_wheel() == set()
    assert built.names_in_wheel() - ours == set()
    assert ours - built.names_in_sdist() == set()
    assert {"pyproject.toml", "README.md", "LICENSE"} <= built.names_in_sdist()


def test_the_wheel_runs_in_a_clean_environment(built, tmp_path):
    programs = clean_environment(tmp_path / "env", built.wheel)
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    where = [str(programs / "python"), "-c", "import monitor, firmware_bridge; print(monitor.__file__)"]
    messages = subprocess.run(where, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True).stdout
    assert Path(messages.strip()).is_relative_to(tmp_path / "env")
    version = subprocess.run(
        [programs / "hang-monitor", "--version"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert version.stdout.startswith("hang-monitor ")
    demo = subprocess.Popen(
        [programs / "hang-monitor", "demo", "--page-port", "0", "--data", tmp_path / "data", "--speed", "20"],
        cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        assert demo.stdout is not None
        said = []
        for line in demo.stdout:
            said.append(line)
            if line.startswith("Live page:"):
                break
        else:
            raise AssertionError("".join(said))
        address = said[-1].split()[2]
        with urllib.request.urlopen(address, timeout=DEADLINE_S) as answer:
            assert b"<html" in answer.read()
        with urllib.request.urlopen(f"{address}static/live/live-page.js", timeout=DEADLINE_S) as answer:
            assert answer.status == 200
    finally:
        demo.terminate()
        rest, _ = demo.communicate(timeout=DEADLINE_S)
    assert demo.returncode == 0
    assert "everything that was measured is kept" in rest


def test_the_bill_of_materials_names_every_library_with_its_licence(tmp_path):
    bill = write_bill(tmp_path / "bill.json")
    # CycloneDX 1.6 (ECMA-424): required keys of a bill and of its components. Making a release holds it against the
    # standard's whole schema, for which a library wants some seconds.
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert all(one["type"] == "library" and one["name"] and one["version"] for one in bill["components"])
    assert len(bill["components"]) == len(libraries())


def test_the_page_of_licences_is_as_things_are():
    written = (ROOT / "docs" / "licences.md").read_text()
    if all(f"| {one.name} | {one.version} |" in written for one in libraries()):
        assert written == page()
    else:
        pytest.fail("docs/licences.md is old: .venv/bin/python -m tests.release --licences")


def test_every_library_is_free_to_hand_on():
    strange = [one for one in libraries() if not FREE.match(one.licence)]
    assert strange == []
