"""Holds and curves as Parquet, read back by another library than the one that writes them."""

from __future__ import annotations

import json
from importlib.util import find_spec

import numpy as np
import pytest
from store_samples import RIG, sample_hold

from monitor.exports.export_format import ExportedCurve
from monitor.exports.parquet_file import curve_parquet, holds_parquet
from monitor.records.hold_fields import columns_of
from monitor.records.hold_result import HoldResult

pytestmark = pytest.mark.skipif(
    not all(map(find_spec, ("duckdb", "pyarrow"))), reason="one of the two libraries is not there"
)


def sql(query: str):
    import duckdb  # here, for every worker imports this file

    return duckdb.sql(query)


def facts(path) -> dict[str, str]:
    rows = sql(f"select key, value from parquet_kv_metadata('{path}')").fetchall()
    return {bytes(key).decode(): bytes(value).decode() for key, value in rows}


@pytest.fixture
def holds():
    return [sample_hold("s"), sample_hold("s", 2)]


def test_a_table_of_holds_comes_back_value_by_value(holds, tmp_path):
    path = tmp_path / "holds.parquet"
    path.write_bytes(holds_parquet(holds, version="1.2.3"))
    table = sql(f"select * from '{path}'")
    assert table.columns == [*(column.header for column in columns_of("parquet")), "result"]
    types = dict(zip(table.columns, map(str, table.types), strict=True))
    assert (types["duration_s"], types["number"], types["alpha_direct"]) == ("DOUBLE", "BIGINT", "BOOLEAN")
    assert types["onset_utc"].startswith("TIMESTAMP")
    for row, hold in zip(table.fetchall(), holds, strict=True):
        values = dict(zip(table.columns, row, strict=True))
        assert HoldResult.from_dict(json.loads(values.pop("result"))) == hold.result
        onset = values.pop("onset_utc")
        assert round(onset.timestamp() * 1e6) == hold.onset_utc_ns // 1000
        wanted = {column.header: column.cell_of(hold) for column in columns_of("parquet")}
        del wanted["onset_utc"]
        assert values == wanted
    assert facts(path)["program"] == "hang-monitor 1.2.3"
    assert json.loads(facts(path)["measurement_versions"]) == [holds[0].measurement_version]


def test_every_column_carries_its_unit():
    """By hand: the units are those that the names end with; a slope's is its own a minute."""
    import io

    from pyarrow import parquet

    schema = parquet.read_schema(io.BytesIO(holds_parquet([])))
    units = {f.name: (f.metadata or {}).get(b"unit", b"").decode() for f in schema}
    named = ("duration_s", "bodyweight_u_N", "lateral_m", "beta_mean_1", "dose_bw_s")
    assert {name: units[name] for name in named} == {
        "duration_s": "s", "bodyweight_u_N": "N", "lateral_m": "m", "beta_mean_1": "1",
        "dose_bw_s": "bodyweight-seconds",
    }  # fmt: skip
    assert (units["loading_N_s"], units["sway_velocity_m_s"], units["sway_ellipse95_m2"]) == ("N/s", "m/s", "m2")
    assert (units["slope_lateral_m_per_min"], units["slope_tremor_N_per_min_u"]) == ("m/min", "N/min")
    without = {name for name, unit in units.items() if not unit}
    assert without == {n for n in units if n.endswith("_count")} | {
        "uid", "session_uid", "number", "onset_utc", "kind", "support", "alpha_direct", "flags", "measurement_version",
        "revised", "result",
    }  # fmt: skip


def test_a_curve_comes_back_with_its_rig_and_calibration(holds, tmp_path):
    t_s = np.array([10.0, 10.0125, 10.0375])
    load_N = np.array([[1.5, 2.5], [np.nan, 3.25], [4.0, -0.125]])
    calibration = {"id": "c", "channels": [{"channel": "bar_left", "N_per_count": 1e-4, "u_rel_span": 8e-4}]}
    curve = ExportedCurve(holds[0], t_s, ("bar_left", "bar_right"), load_N, RIG, calibration)
    path = tmp_path / "curve.parquet"
    path.write_bytes(curve_parquet(curve, version="1.2.3"))
    table = sql(f"select * from '{path}'")
    assert table.columns == ["t_s", "bar_left_N", "bar_right_N"]
    assert table.fetchall() == [(10.0, 1.5, 2.5), (10.0125, None, 3.25), (10.0375, 4.0, -0.125)]
    description = facts(path)
    assert json.loads(description["calibration"]) == calibration
    assert json.loads(description["rig"]) == RIG
    assert (description["hold"], description["measurement_version"]) == ("s-001", str(holds[0].measurement_version))
    assert HoldResult.from_dict(json.loads(description["result"])) == holds[0].result
