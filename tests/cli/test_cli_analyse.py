"""``hang-monitor analyse``: JSON, tables, plots, and batches with bad files in them."""

from __future__ import annotations

import gzip
import importlib
import json
import re
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from journals_by_hand import write_journal
from load_stories import RIG, TWO_SESSIONS, loads
from typer.testing import CliRunner, Result

from monitor.cli import app

CURVES = Path(__file__).parents[1] / "recordings" / "curves"
S1, S8 = CURVES / "s1_seed11.csv.gz", CURVES / "s8_seed11.csv.gz"
BAD = {
    "missing.csv": None,
    "empty.csv": b"",
    "text.csv": b"t_s,bar_left_N\n" + b"".join(b"%.4f,%d\n" % (n / 80, n) for n in range(20)) + b"0.3,seven\n",
    "backwards.csv": b"t_s,bar_left_N\n" + b"".join(b"%.4f,%d\n" % (n / 80, n) for n in range(20)) + b"0.1,3\n",
    "header.csv": b"zeit,kraft\n1,2\n",
    "cut.csv.gz": gzip.compress(bytes(range(256)) * 400)[:300],
    "letter.journal": b"Dear coach,\n",
}


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["analyse", *(str(a) for a in arguments)], catch_exceptions=False)


@pytest.fixture
def bad_files(tmp_path: Path) -> list[Path]:
    for name, content in BAD.items():
        if content is not None:
            (tmp_path / name).write_bytes(content)
    return [tmp_path / name for name in BAD]


def test_one_file_is_one_json_object_with_the_keys_of_the_result():
    result = invoke(S1, "--json")
    assert result.exit_code == 0
    data = json.loads(result.stdout)
    assert data["file"] == str(S1)
    assert data["bodyweight_N"] == pytest.approx(700.34, rel=0.0015)
    (hold,) = data["holds"]
    wanted = (
        "onset_s release_s duration_s duration_u_s kind support beta_mean alpha_mean alpha_u alpha_p95 "
        "alpha_direct clean_s misclosure peak_N dose_bw_s swing settle_s states travel regrips grip_changes_s "
        "third_support tremor_N touches flags"
    )
    assert set(wanted.split()) <= set(hold)
    assert {"samples", "lost", "spikes", "rate_Hz"} <= set(data["quality"])
    assert {"max_deg", "rms_deg", "frequency_Hz", "course", "kappa", "kappa_u"} == set(hold["swing"])


def test_several_files_are_json_lines_in_the_order_given():
    result = invoke(S8, S1, "--json")
    assert result.exit_code == 0
    first, second = (json.loads(line) for line in result.stdout.splitlines())
    assert (first["file"], len(first["holds"])) == (str(S8), 0)
    assert (second["file"], len(second["holds"])) == (str(S1), 1)


def test_people_get_a_table():
    result = invoke(S1, S8)
    assert result.exit_code == 0
    assert "unassisted" in result.stdout
    assert re.search(r"35\.(69|70)\d* ± 0\.00\d* s", result.stdout)
    assert "700.29 ± 0.15 N" in result.stdout
    assert "12 lost, 4 spikes masked" in result.stdout
    assert "no hold" in result.stdout
    with pytest.raises(json.JSONDecodeError):
        json.loads(result.stdout.splitlines()[0])


def test_a_journal_is_analysed_like_a_curve(tmp_path):
    write_journal(tmp_path / "session.journal", RIG, loads(TWO_SESSIONS)[1])
    result = invoke(tmp_path / "session.journal", "--json")
    assert result.exit_code == 0
    assert len(json.loads(result.stdout)["holds"]) == 2


def test_a_plot_is_an_svg_and_several_plots_have_names_of_their_own(tmp_path):
    short = tmp_path / "short.csv"
    lines = gzip.decompress(S1.read_bytes()).decode().splitlines()
    short.write_text("\n".join(lines[:2400]) + "\n")
    assert invoke(short, "--plot", tmp_path / "out.svg").exit_code == 0
    root = ET.fromstring((tmp_path / "out.svg").read_text(encoding="utf-8"))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert len(list(root.iter("{http://www.w3.org/2000/svg}path"))) > 5
    other = tmp_path / "other.csv"
    shutil.copy(short, other)
    assert invoke(short, other, "--plot", tmp_path / "both.svg").exit_code == 0
    assert {p.name for p in tmp_path.glob("both*.svg")} == {"both_short.svg", "both_other.svg"}


def test_in_a_batch_good_files_are_analysed_and_each_bad_one_is_reported(bad_files):
    before = {p: p.read_bytes() for p in bad_files if p.exists()}
    result = invoke(bad_files[0], S1, *bad_files[1:], S8, "--json")
    assert result.exit_code == 2
    assert [json.loads(line)["file"] for line in result.stdout.splitlines()] == [str(S1), str(S8)]
    assert "Traceback" not in result.stderr
    for path in bad_files:
        errors = [line for line in result.stderr.splitlines() if str(path) in line and line.startswith("hang-monitor:")]
        assert len(errors) == 1, path.name
    assert result.stderr.count("What to do:") == len(bad_files)
    assert {p: p.read_bytes() for p in bad_files if p.exists()} == before


def test_several_processes_give_the_same_results_and_errors(bad_files, monkeypatch):
    files = [S1, *bad_files[:3], S8]
    one = invoke(*files, "--json")
    monkeypatch.setattr(importlib.import_module("monitor.cli.commands.analyse"), "ONE_PROCESS_BYTES", 1000)
    two = invoke(*files, "--json", "--jobs", 2)
    assert two.exit_code == one.exit_code == 2
    assert two.stdout == one.stdout

    def errors_of(stderr: str) -> list[str]:
        return [line for line in stderr.splitlines() if line.startswith(("hang-monitor:", "  What to do:"))]

    assert errors_of(two.stderr) == errors_of(one.stderr)
    assert len(errors_of(two.stderr)) == 6


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--bodyweight", "49"], "A bodyweight of 49 N is not possible"),
        (["--bodyweight", "-700"], "A bodyweight of -700 N is not possible"),
        (["--bodyweight", "5001"], "A bodyweight of 5001 N is not possible"),
        (["--bodyweight", "nan"], "A bodyweight of nan N is not possible"),
        (["--alpha-max", "-0.1"], "allowed assistance"),
        (["--alpha-max", "1.5"], "allowed assistance"),
        (["--alpha-max", "nan"], "allowed assistance"),
        (["--start", "relaxed"], "start is given as 'relaxed'"),
        (["--rig", "rig.toml"], "Only one of rig description and calibration"),
    ],
)
def test_absurd_analysis_settings_are_refused_before_anything_is_analysed(options, message):
    result = invoke(S1, "--json", *options)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert message in result.stderr
    assert "What to do:" in result.stderr


def test_a_given_bodyweight_is_used():
    result = invoke(S1, "--json", "--bodyweight", "650")
    data = json.loads(result.stdout)
    assert data["bodyweight_N"] == 650
    assert data["holds"][0]["beta_mean"] == pytest.approx(700.3 / 650, abs=0.003)


def test_no_file_at_all_is_a_usage_error():
    result = CliRunner().invoke(app, ["analyse"])
    assert result.exit_code == 2
    assert "FILE" in result.stderr


def test_a_missing_folder_for_the_plot_is_reported(tmp_path):
    result = invoke(S1, "--plot", tmp_path / "nowhere" / "out.svg")
    assert result.exit_code == 2
    assert "What to do:" in result.stderr
