"""The REST interface: whatever its description allows, and whatever it forbids, gets a described answer."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import positive_data_acceptance

from tests.fuzz.whole_page import at_the_machine

ADDRESS = "http://127.0.0.1:8064"
PATIENCE_S = 120.0
"""For an answer: a machine that is busy with other work is no fault of an address."""

WITH_DAYS = ("/progress", "/comparison", "/jobs/report", "/pauses")
"""Where days are given: no description can say that one is out of reach, or that a period ends before it begins."""

KEYS = {"code", "what", "means", "do"}

CHECKS = {
    # What no description can say (a time zone that nobody knows, a hold that is discarded already) is refused with 400,
    # a passcode that is nobody's with 401, everything but looking with 403 once this very run has set a passcode.
    "positive_data_acceptance": {"expected-statuses": ["2xx", "400", "401", "403", "404", "409", "429", "503"]},
}


@schemathesis.serializer("application/zip")
def _as_it_is(_context: Any, value: Any) -> bytes:
    return value if isinstance(value, bytes) else json.dumps(value).encode()


@dataclass
class Findings:
    """What was tried, and what went wrong: one line for each operation and kind of failure."""

    requests: int = 0
    answers: dict[int, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)


def operations(app: FastAPI) -> list[Any]:
    """Return every operation of the description."""
    config = SchemathesisConfig.from_dict({"checks": CHECKS, "request-timeout": PATIENCE_S})
    schema = schemathesis.openapi.from_asgi(
        "/api/openapi.json", at_the_machine(app), config=config, headers={"host": "127.0.0.1"}
    )
    every = [result.ok() for result in schema.get_all_operations()]
    # Once somebody has a passcode, this machine alone may only look: those addresses come last.
    return sorted(every, key=lambda operation: "passcodes" in operation.path)


def try_operation(
    operation: Any, examples: int, number: int, outcome: Findings, names: dict[str, list[Any]] | None = None
) -> None:
    """Send requests that are described and requests that are not; every answer must be as the description says.

    Parameters
    ----------
    examples : int
        Of each of the two kinds.
    number : int
        Another number, other requests.
    names : dict
        Values of path parameters that exist: one request in two goes to something that is there.
    """
    known = {key: values for key, values in (names or {}).items() if f"{{{key}}}" in operation.path}
    modes = [GenerationMode.POSITIVE]
    # A name in the path may be any text: nothing of it is against the description.
    if len(operation.query) or len(operation.body):
        modes.append(GenerationMode.NEGATIVE)
    excluded = [positive_data_acceptance] if any(word in operation.path for word in WITH_DAYS) else []
    for mode in modes:

        @seed(number)
        @settings(
            max_examples=examples, deadline=None, database=None,
            phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(data=st.data(), case=operation.as_strategy(generation_mode=mode))
        def one(data: Any, case: Any) -> None:
            for key, values in known.items():
                if data.draw(st.booleans()):
                    case.path_parameters[key] = data.draw(st.sampled_from(values))
            outcome.requests += 1
            answer = case.call(base_url=ADDRESS)
            status = answer.status_code
            outcome.answers[status] = outcome.answers.get(status, 0) + 1
            case.validate_response(answer, excluded_checks=excluded)
            if status >= 400 and set(answer.json()["error"]) != KEYS:
                raise AssertionError(f"an error of another shape: {answer.text[:200]}")

        try:
            one()
        except Unsatisfiable:
            pass  # an address without any input has nothing that could be wrong
        except FailureGroup as group:
            outcome.wrong += [f"{operation.label} ({mode.value}): {one}" for one in group.exceptions]
        except Exception as error:
            outcome.wrong.append(f"{operation.label} ({mode.value}): {error!r}")
