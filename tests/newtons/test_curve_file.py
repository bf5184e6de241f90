"""Load curves on disk: what is accepted, and what is refused with the line and the remedy."""

from __future__ import annotations

import gzip
import os

import numpy as np
import pytest

from monitor.newtons.curve_file import CURVE_HEADER, BadCurve, read_curve
from monitor.rig import STANDARD_CHANNELS

HEADER = "t_s,bar_left_N,bar_right_N"


def rows(count: int = 20, columns: int = 2, first_s: float = 0.0) -> list[str]:
    return [f"{first_s + n / 80:.4f}," + ",".join(f"{100 * c + n}" for c in range(columns)) for n in range(count)]


def text(*, header: str = HEADER, body: list[str] | None = None, end: str = "\n") -> str:
    return end.join([header, *(rows() if body is None else body)]) + end


def changed(row: int, line: str) -> str:
    """Return a good curve with one row (counted from 0) replaced."""
    body = rows()
    body[row] = line
    return text(body=body)


def test_a_whole_curve_is_read(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(text(header=CURVE_HEADER, body=rows(columns=6)))
    curve = read_curve(path)
    assert curve.rig.names == tuple(c.name for c in STANDARD_CHANNELS)
    assert curve.load_N.shape == (20, 6)
    assert curve.load_N[3].tolist() == [3, 103, 203, 303, 403, 503]
    assert curve.rate_Hz == pytest.approx(80.0)


def test_a_missing_row_is_lost_an_empty_field_is_a_failed_reading(tmp_path):
    path = tmp_path / "c.csv"
    body = rows(30)
    body[12] = body[12].split(",")[0] + ",,7"
    del body[20:23]
    path.write_text(text(body=body))
    curve = read_curve(path)
    assert np.isnan(curve.load_N[12]).tolist() == [True, False]
    before, after = curve.blocks()
    assert (len(before), before.lost_before, len(after), after.lost_before) == (20, 0, 7, 3)
    # A reading is the mean over the interval before its stamp: the load is half an interval older (1/160 s here).
    assert before.t_s[0] == pytest.approx(-0.00625)
    assert after.t_s[0] == pytest.approx(23 / 80 - 0.00625)


def test_columns_that_the_rig_lacks_are_absent_and_order_is_free(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(text(header="t_s,foot_rl_N,bar_right_N"))
    curve = read_curve(path)
    assert curve.rig.names == ("foot_rl", "bar_right")
    assert curve.rig.bar_index == (1,)
    assert curve.rig.platform_index == (0,)


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + text().encode(),
        text(end="\r\n").encode(),
        (text() + "\n\n  \n").encode(),
        text().rstrip("\n").encode(),
        gzip.compress(text().encode()),
        text(header="t_s, bar_left_N , bar_right_N").encode(),
        text(body=[line.replace(",", " , ") for line in rows()]).encode(),
    ],
    ids=[
        "byte order mark",
        "CR LF",
        "blank lines at the end",
        "no last line end",
        "gzip",
        "blanks in header",
        "blanks",
    ],
)
def test_what_spreadsheets_and_copying_do_to_a_file_does_not_matter(tmp_path, content):
    path = tmp_path / "c.csv"
    path.write_bytes(content)
    curve = read_curve(path)
    assert curve.t_s.tolist() == pytest.approx([n / 80 for n in range(20)])
    assert curve.load_N[:, 1].tolist() == [100 + n for n in range(20)]


def test_loads_of_blanks_only_are_failed_readings(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(changed(4, "0.05, ,7"))
    assert np.isnan(read_curve(path).load_N[4]).tolist() == [True, False]


def test_the_rate_is_blind_to_losses_and_free_of_the_stamps_jitter(tmp_path):
    path = tmp_path / "c.csv"
    random = np.random.default_rng(1)
    t_s = np.arange(4000) / 93.0
    stamped = t_s + 0.0004 * random.standard_normal(4000)
    keep = random.random(4000) > 0.05
    path.write_text(text(body=[f"{t:.5f},1,2" for t in stamped[keep]]))
    assert read_curve(path).rate_Hz == pytest.approx(93.0, rel=2e-3)
    assert sum(b.lost_before for b in read_curve(path).blocks()) == np.count_nonzero(~keep[:-1])


BAD = {
    "empty file": (b"", "is empty", "begins with the line"),
    "blank lines only": (b"\n \n\n", "is empty", "begins with the line"),
    "header only": (f"{HEADER}\n".encode(), "holds 0 rows", "at least 8"),
    "seven rows": (text(body=rows(7)).encode(), "holds 7 rows", "at least 8"),
    "no header": ("\n".join(rows()).encode(), "does not begin with the header", "first line must be t_s"),
    "another header": (text(header="time,force,x").encode(), "does not begin with the header", "first line must be"),
    "semicolons": (text().replace(",", ";").encode(), "does not begin with the header", "first line must be"),
    "no unit": (text(header="t_s,bar_left,bar_right_N").encode(), "a column 'bar_left'", "first line must be"),
    "doubled column": (text(header="t_s,bar_left_N,bar_left_N").encode(), "a column twice", "first line must be"),
    "unknown column": (text(header="t_s,bar_left_N,bar_mid_N").encode(), "bar_mid_N is not known", "Known: bar_left_N"),
    "time only": (text(header="t_s", body=[r.split(",")[0] for r in rows()]).encode(), "no cell", "platform"),
    "text": (changed(5, "0.0625,12,about 3").encode(), "Line 7 .* 'about 3'", "decimal point"),
    "comma decimals": (changed(5, "0,0625,12,3").encode(), "Line 7 .* 4 fields, the header 3", "Mend that line"),
    "short line": (changed(5, "0.0625,12").encode(), "Line 7 .* 2 fields, the header 3", "remove it"),
    "blank line inside": (changed(5, "").encode(), "Line 7 ", "Mend that line"),
    "no time": (changed(5, ",12,3").encode(), "Line 7 .* no time", "needs its t_s"),
    "time nan": (changed(5, "nan,12,3").encode(), "Line 7 .* no time", "needs its t_s"),
    "time infinite": (changed(5, "inf,12,3").encode(), "Line 7 .* no time", "needs its t_s"),
    "backwards": (changed(5, "0.04,12,3").encode(), r"backwards at line 7 \(0.05 s, then 0.04 s\)", "order of time"),
    "standing still": (changed(5, "0.05,12,3").encode(), "backwards at line 7", "order of time"),
    "infinite load": (changed(5, "0.0625,-inf,3").encode(), "Line 7 .* infinite load", "empty"),
    "overflowing load": (changed(5, "0.0625,1e999,3").encode(), "Line 7 .* infinite load", "empty"),
    "milliseconds": (text(body=[f"{12.5 * n},1,2" for n in range(20)]).encode(), "at 0.08 per second", "in seconds"),
    "ten a second": (
        text(body=[f"{0.1 * n},1,2" for n in range(20)]).encode(),
        "at 10 per second",
        "between 50 and 1000",
    ),
    "microseconds apart": (
        text(body=[f"{1e-5 * n},1,2" for n in range(20)]).encode(),
        "1e.05 per second",
        "in seconds",
    ),
    "binary": (bytes(range(256)) * 8, "is no text", "CSV"),
    "cut gzip": (gzip.compress(text(body=rows(500)).encode())[:-40], "damaged gzip", "Copy it again"),
    "gzip of nothing more than its magic": (b"\x1f\x8b", "damaged gzip", "Copy it again"),
    "wrong CRC": (
        gzip.compress(text().encode())[:-8] + b"\x01\x02\x03\x04" + gzip.compress(text().encode())[-4:],
        "damaged gzip",
        "Copy it again",
    ),
    "scrambled gzip": (gzip.compress(text().encode())[:12] + b"\xff" * 60, "damaged gzip", "Copy it again"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_reported_with_place_and_remedy_and_left_alone(tmp_path, name):
    content, message, remedy = BAD[name]
    path = tmp_path / "curve.csv"
    path.write_bytes(content)
    with pytest.raises(BadCurve, match=message) as caught:
        read_curve(path)
    assert str(path) in caught.value.what
    assert remedy in caught.value.do
    assert "not changed" in caught.value.means
    assert path.read_bytes() == content


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(BadCurve, match="No such file"):
        read_curve(tmp_path / "none.csv")


def test_a_folder(tmp_path):
    with pytest.raises(BadCurve, match="Is a directory"):
        read_curve(tmp_path)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(text())
    path.chmod(0)
    with pytest.raises(BadCurve, match="Permission denied"):
        read_curve(path)
