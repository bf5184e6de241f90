"""Input that nobody would send on purpose: a fixed, small number of cases; ``python -m tests.fuzz`` tries many more.

Files and the wire: each case of harm to a good example, and everything that ever broke something (``tests/fuzz/
regressions``), may only be refused in the program's own words. REST: what the description allows and what it forbids
gets an answer that is described. The feed: whatever is sent, the page lives on and calls nothing an error.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.fuzz import whole_page
from tests.fuzz.feed import Screenful
from tests.fuzz.inputs import INPUTS
from tests.fuzz.mutation import harmed

REGRESSIONS = Path(whole_page.__file__).parent / "regressions"
KNOWN = sorted(path for path in REGRESSIONS.glob("*/*") if path.is_file())
CASES = {"decoder": 120, "frames": 120, "journal": 60}


@pytest.mark.parametrize("name", INPUTS)
def test_harmed_input_is_refused_in_our_own_words_or_taken(name):
    one = INPUTS[name]
    seeds = one.seeds()
    for good in seeds:
        one.take(good)

    @seed(1)
    @settings(
        max_examples=CASES.get(name, 200), deadline=None, database=None, phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(data=harmed(seeds))
    def tried(data: bytes) -> None:
        one.take(data)

    tried()


@pytest.mark.parametrize("path", KNOWN, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_what_once_broke_something_does_not_do_so_again(path):
    INPUTS[path.parent.name].take(path.read_bytes())


def test_there_are_regressions_and_each_belongs_to_an_input():
    assert KNOWN
    assert {path.parent.name for path in KNOWN} <= set(INPUTS)


def test_every_address_answers_as_it_is_described(tmp_path):
    # Here, for every worker imports this file: the fuzzer of interfaces takes half a second.
    from tests.fuzz.rest import Findings, operations, try_operation

    result = Findings()
    with whole_page.whole_page(tmp_path) as (app, names):
        every = operations(app)
        for number, operation in enumerate(every):
            try_operation(operation, 2, number, result, names)
    assert result.wrong == []
    assert result.requests > 2 * len(every)
    assert {200, 404, 422} <= set(result.answers)
    assert 500 not in result.answers


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    with whole_page.whole_page(tmp_path_factory.mktemp("page")) as (app, _):
        yield app


@pytest.mark.parametrize(
    "body", [b"[" * 100_000, b'{"alpha_max": 1e400}', b"\xff\xfe", b'{"alpha_max": NaN}', b'"' * 3, b'{"a":' * 5000],
    ids=["deep", "infinite", "no text", "nan", "quotes", "deep object"],
)  # fmt: skip
def test_json_that_is_none_is_refused(page, body):
    home = TestClient(page, base_url="http://127.0.0.1:8064", client=("127.0.0.1", 5))
    answer = home.put("/api/settings", content=body, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422)
    assert answer.json()["error"]["code"] == "invalid-request"


@pytest.mark.parametrize(
    "place",
    ["people/{uid}/progress?first=0001-01-01", "people/{uid}/progress?last=9999-12-31",
     "people/{uid}/progress?first=2300-01-01&last=2400-01-01", "search/holds?offset=99999999999999999999",
     "holds?since_utc_ms=9007199254740992", "audit?before=99999999999999999999"],
)  # fmt: skip
def test_days_and_numbers_out_of_reach_are_refused(page, place):
    home = TestClient(page, base_url="http://127.0.0.1:8064", client=("127.0.0.1", 5))
    uid = home.get("/api/people").json()[0]["uid"]
    answer = home.get(f"/api/{place.format(uid=uid)}")
    assert (answer.status_code, answer.json()["error"]["code"]) == (422, "invalid-request")


def test_a_screen_may_say_what_it_likes(tmp_path):
    with Screenful(tmp_path) as screenful:
        assert [wrong for number in range(60) for wrong in screenful.try_one(random.Random(number))] == []
