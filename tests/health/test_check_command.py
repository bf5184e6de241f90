"""``hang-monitor check`` and ``hang-monitor zero`` on a virtual rig, over the wire."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor.cli.app import app
from monitor.demo.virtual_rig import demo_rig
from monitor.newtons.calibration import latest_calibration
from monitor.rig import save_rig

RUN = CliRunner()
FAST = ("--virtual", "--speed", "40")


@pytest.fixture
def rig_file(tmp_path):
    rig = demo_rig()
    strong = replace(rig, channels=tuple(replace(c, rated_N=3000.0) for c in rig.channels))
    save_rig(tmp_path / "strong.toml", strong)
    return str(tmp_path / "strong.toml")


def test_a_whole_check_is_printed_as_json_and_saved(tmp_path, rig_file):
    data = str(tmp_path / "data")
    done = RUN.invoke(app, ["check", *FAST, "--watch", "10", "--rig", rig_file, "--data", data, "--json"])
    assert done.exit_code == 0, done.output
    printed = json.loads(done.stdout)
    assert printed["outcome"] == "good"
    assert {v["key"] for v in printed["verdicts"]} >= {"board", "rate", "closure", "corners:platform", "mount"}
    saved = json.loads(Path(printed["files"]["json"]).read_text(encoding="utf-8"))
    assert saved == {key: value for key, value in printed.items() if key != "files"}
    assert "The rig is in order." in Path(printed["files"]["page"]).read_text(encoding="utf-8")


def test_what_has_to_be_mended_gives_status_1(rig_file):
    done = RUN.invoke(app, ["check", *FAST, "--watch", "10", "--rig", rig_file, "--heaviest", "250", "--empty-only"])
    assert done.exit_code == 1
    assert "TO BE MENDED" in done.stdout
    assert "Nobody above 153 kg" in " ".join(done.stdout.split())


def test_neither_or_both_of_port_and_virtual_is_refused():
    for words in ([], ["--virtual", "--port", "/dev/null"]):
        done = RUN.invoke(app, ["check", *words])
        assert done.exit_code == 2
        assert "--port" in done.stderr


@pytest.mark.parametrize(
    "words",
    [("check", *FAST, "--empty-only"), ("zero", *FAST, "--yes"), ("demo", "--page-port", "0", "--sessions", "1")],
)
def test_a_practice_leaves_a_real_rig_s_folder_alone(tmp_path, words):
    save_rig(tmp_path / "rig.toml", replace(demo_rig(), invented=False))
    done = RUN.invoke(app, [*words, "--data", str(tmp_path)])
    assert done.exit_code == 2
    assert "describes a real rig" in done.stderr
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["rig.toml"]


def test_a_practice_on_a_real_rig_s_description_says_that_it_is_invented(tmp_path):
    save_rig(tmp_path / "real.toml", replace(demo_rig(), invented=False))
    words = ["check", *FAST, "--watch", "10", "--empty-only", "--rig", str(tmp_path / "real.toml"), "--json"]
    done = RUN.invoke(app, words)
    assert json.loads(done.stdout)["invented"] is True


def test_a_zero_is_never_taken_silently(tmp_path):
    data = str(tmp_path)
    done = RUN.invoke(app, ["zero", *FAST, "--data", data])
    assert done.exit_code == 2
    assert "nobody sits at this terminal" in done.stderr
    assert list((tmp_path / "calibrations").glob("*.toml")) == []


def test_a_zero_that_is_taken_is_a_new_dated_calibration(tmp_path):
    done = RUN.invoke(app, ["zero", *FAST, "--data", str(tmp_path), "--yes", "--json"])
    assert done.exit_code == 0, done.output
    printed = json.loads(done.stdout)
    saved = latest_calibration(tmp_path / "calibrations", demo_rig().names)
    assert printed["calibration"].endswith(f"{saved.id}.toml")
    for channel in saved.channels:
        assert channel.zero_counts == pytest.approx(printed["zero"][channel.channel]["zero_counts"])
        assert channel.zero_at.startswith(saved.id[:10])
        assert channel.u_zero_counts > 0
