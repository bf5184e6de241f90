"""REST: shapes, and one shape for everything that goes wrong."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import numpy as np
import pytest
from fake_rig import BODYWEIGHT_N, NAMES, RIG, FakeControl, FakeRig, FakeStore
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.views.json_views import plain, thin_out


def messages(answer) -> dict[str, str]:
    body = answer.json()
    assert set(body) == {"error"}
    assert set(body["error"]) == {"code", "what", "means", "do"}
    assert all(isinstance(text, str) and text for text in body["error"].values())
    return body["error"]


def test_health_is_ok_only_while_pictures_come(client, hub):
    before = client.get("/api/health").json()
    assert before["ok"] is False
    assert before["age_s"] is None
    hub.publish(FakeRig().next())
    after = client.get("/api/health").json()
    assert after["ok"] is True
    assert after["pictures"] == 1
    assert after["link"]["condition"] == "connected"


def test_health_is_not_ok_while_the_board_is_absent(hub):
    control = FakeControl(state={"link": {"condition": "absent", "do": "Plug it in."}, "warnings": ["cold"]})
    app = create_app(hub=hub, store=FakeStore(), rig=RIG, control=control)
    hub.publish(FakeRig().next())
    health = TestClient(app, base_url="http://localhost").get("/api/health").json()
    assert health["ok"] is False
    assert health["link"]["do"] == "Plug it in."
    assert health["warnings"] == ["cold"]


def test_rig(client):
    rig = client.get("/api/rig").json()
    assert [channel["name"] for channel in rig["channels"]] == list(NAMES)
    assert rig["invented"] is True
    assert rig["gravity_m_s2"] == 9.80665  # standard acceleration of gravity, 3rd CGPM 1901


def test_live_is_told_as_missing_before_the_first_picture(client, hub):
    answer = client.get("/api/live")
    assert answer.status_code == 503
    assert messages(answer)["code"] == "no-picture"
    hub.publish(FakeRig(t_s=10.0).next())
    live = client.get("/api/live").json()
    assert live["picture"]["scene"] == "hanging"
    assert live["picture"]["hold"]["time_s"] == pytest.approx(4.05)
    assert live["picture"]["bodyweight_N"] == BODYWEIGHT_N
    assert live["age_s"] >= 0


def test_holds_come_in_pages(client):
    page = client.get("/api/holds", params={"limit": 2, "offset": 3}).json()
    assert (page["total"], page["limit"], page["offset"]) == (7, 2, 3)
    assert [hold["uid"] for hold in page["holds"]] == ["hold-3", "hold-4"]
    assert page["holds"][0]["result"]["duration_s"] == 24.8
    assert page["holds"][1]["result"]["alpha_mean"] is None
    assert client.get("/api/holds/hold-3").json() == page["holds"][0]


def test_holds_as_csv(client):
    answer = client.get("/api/holds.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["uid"] for row in rows] == [f"hold-{i}" for i in range(7)]
    assert float(rows[0]["duration_s"]) == 18.4
    assert rows[4]["alpha_mean_1"] == ""


def test_a_curve_is_thinned_and_its_extremes_stay(client):
    t_s, _, load_N = FakeStore().hold_curve("hold-0")
    whole = client.get("/api/holds/hold-0/curve").json()
    assert (whole["samples"], whole["thinned"], len(whole["t_s"])) == (len(t_s), False, len(t_s))
    thin = client.get("/api/holds/hold-0/curve", params={"points": 100}).json()
    assert thin["thinned"] is True
    assert len(thin["t_s"]) <= 100
    for column in range(len(NAMES)):
        assert max(thin["load_N"][column]) == pytest.approx(load_N[:, column].max(), abs=0.051)
        assert min(thin["load_N"][column]) == pytest.approx(load_N[:, column].min(), abs=0.051)


def test_a_curve_as_csv_has_the_columns_of_recorded_curves(client):
    answer = client.get("/api/holds/hold-0/curve.csv")
    rows = list(csv.reader(io.StringIO(answer.text)))
    assert rows[0] == ["t_s", *(f"{name}_N" for name in NAMES)]
    t_s, _, load_N = FakeStore().hold_curve("hold-0")
    assert len(rows) == 1 + len(t_s)
    assert float(rows[801][1]) == pytest.approx(load_N[800, 0], abs=1e-4)
    assert "curve-hold-0.csv" in answer.headers["content-disposition"]


@pytest.mark.parametrize(
    "path",
    [
        "/api/holds/none",
        "/api/holds/none/curve",
        "/api/holds/none/curve.csv",
        "/api/holds/hold-1/curve",
        "/api/no",
        "/no",
    ],
)
def test_what_is_not_there_is_told(client, path):
    answer = client.get(path)
    assert answer.status_code == 404
    assert messages(answer)["code"] == "not-found"


@pytest.mark.parametrize(
    "query", [{"limit": 0}, {"limit": 100_000}, {"offset": -1}, {"limit": "many"}], ids=lambda q: str(q)
)
def test_a_useless_query_is_told(client, query):
    answer = client.get("/api/holds", params=query)
    assert answer.status_code == 422
    error = messages(answer)
    assert error["code"] == "invalid-request"
    assert next(iter(query)) in error["what"]


def test_a_wrong_method_is_told(client):
    answer = client.post("/api/holds")
    assert answer.status_code == 405
    assert messages(answer)["code"] == "method-not-allowed"


def test_settings_are_read_and_changed(client):
    assert client.get("/api/settings").json() == {"alpha_max": 0.1, "bodyweight_N": None}
    change = {"alpha_max": 0.25, "bodyweight_N": 640.5}
    assert client.put("/api/settings", json=change).json() == change
    assert client.get("/api/settings").json() == change


@pytest.mark.parametrize(
    "body",
    [b'{"alpha_max": 1.5}', b'{"alpha_max": NaN}', b'{"alpha_max": -0.1}', b'{"bodyweight_N": 700}', b"{", b"[]",
     b'{"alpha_max": 0.1, "bodyweight_N": 0}', b'{"alpha_max": 0.1, "alhpa": 1}', b'{"alpha_max": "much"}',
     b'{"alpha_max": true}', b'{"alpha_max": 0.1, "bodyweight_N": "700"}'],
)  # fmt: skip
def test_useless_settings_change_nothing(client, body):
    answer = client.put("/api/settings", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert messages(answer)["code"] == "invalid-request"
    assert client.get("/api/settings").json() == {"alpha_max": 0.1, "bodyweight_N": None}


def test_what_the_service_refuses_is_told_in_its_own_words(client):
    answer = client.put("/api/settings", json={"alpha_max": 0.1, "bodyweight_N": 60})
    assert answer.status_code == 400
    assert messages(answer)["code"] == "bad-input"
    assert "newtons" in messages(answer)["do"]


class BrokenStore(FakeStore):
    def find_holds(self, wanted, limit, offset, order="newest"):
        raise ZeroDivisionError("a mistake of ours")


def test_a_mistake_of_ours_is_told_without_its_insides(caplog):
    app = create_app(hub=LiveHub(), store=BrokenStore(), rig=RIG, control=FakeControl())
    answer = TestClient(app, base_url="http://127.0.0.1").get("/api/holds")
    assert answer.status_code == 500
    assert messages(answer)["code"] == "internal"
    assert "ZeroDivisionError" not in answer.text
    assert "ZeroDivisionError" in caplog.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_the_description_names_every_route_and_the_error_shape(client):
    described = client.get("/api/openapi.json").json()
    assert set(described["paths"]) == {
        "/api/health", "/api/rig", "/api/live", "/api/hold-fields", "/api/holds", "/api/holds.csv", "/api/holds/{uid}",
        "/api/holds/{uid}/curve", "/api/holds/{uid}/curve.csv", "/api/settings",
            "/api/screens", "/api/rig/calibration", "/api/first-steps",
    }  # fmt: skip
    assert set(described["components"]["schemas"]["Problem"]["required"]) == {"code", "what", "means", "do"}
    for methods in described["paths"].values():
        for method in methods.values():
            assert method["responses"]["422"]["content"]["application/json"]["schema"]["$ref"].endswith("ProblemModel")


def test_there_are_no_description_pages_that_load_from_elsewhere(client):
    assert client.get("/docs").status_code == 404
    assert client.get("/redoc").status_code == 404


@settings(deadline=None)
@given(
    st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=3), lambda leaf: st.lists(leaf, max_size=4))
)
def test_plain_data_is_always_json(value):
    json.dumps(plain(value), allow_nan=False)


@settings(deadline=None)
@given(
    hnp.arrays(np.float64, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=60),
               elements=st.floats(-1e4, 1e4) | st.just(np.nan)),
    st.integers(2, 40),
)  # fmt: skip
def test_thinning_keeps_extremes_and_length(load_N, points):
    t_s = np.arange(len(load_N)) / 80
    thin_t, thin_N = thin_out(t_s, load_N, points)
    assert len(thin_t) == len(thin_N) <= max(points, min(len(t_s), points))
    assert np.all(np.diff(thin_t) >= 0)
    for column, thin in zip(load_N.T, thin_N.T, strict=True):
        good = column[np.isfinite(column)]
        if len(good):
            assert np.nanmax(thin) == good.max()
            assert np.nanmin(thin) == good.min()
        else:
            assert np.isnan(thin).all()


def test_holds_are_asked_by_what_they_are_like(client):
    page = client.get("/api/holds", params={"kind": "active", "least_s": 20, "order": "longest"}).json()
    assert [hold["uid"] for hold in page["holds"]] == ["hold-5", "hold-1"]
    assert page["total"] == 2
    for query in ({"order": "nicest"}, {"kind": "sideways"}, {"least_s": "nan"}):
        answer = client.get("/api/holds", params=query)
        assert (answer.status_code, messages(answer)["code"]) == (422, "invalid-request")


def test_the_table_of_holds_is_what_was_asked_or_chosen(client):
    def uids(**query):
        return [row["uid"] for row in csv.DictReader(io.StringIO(client.get("/api/holds.csv", params=query).text))]

    assert uids(kind="active") == ["hold-1", "hold-5"]
    assert uids(uid=["hold-4", "hold-2"]) == ["hold-4", "hold-2"]
    assert client.get("/api/holds.csv", params={"uid": ["hold-4", "none"]}).status_code == 404


def test_flags_come_with_their_words():
    store = FakeStore()
    flagged = dataclasses.replace(store.holds[0].result, flags=["too_short", "from_the_future"])
    store.holds[0] = dataclasses.replace(store.holds[0], result=flagged)
    app = create_app(hub=LiveHub(), store=store, rig=RIG, control=FakeControl())
    hold = TestClient(app, base_url="http://127.0.0.1").get("/api/holds/hold-0").json()
    assert hold["result"]["flags"] == ["too_short", "from_the_future"]
    assert hold["notes"] == ["too short to measure", "from_the_future"]


def test_a_screen_learns_what_it_may_offer(client):
    offers = dict.fromkeys(("coaching", "jobs", "power", "maintenance", "authorization", "procedures"), False)
    assert client.get("/api/screens").json() == offers
    assert client.get("/api/rig/calibration").json() is None
