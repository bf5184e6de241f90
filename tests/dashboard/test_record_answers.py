"""Records are answered as they are: no shape of their own, instants in milliseconds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import FastAPI
from fastapi.testclient import TestClient
from pydantic import BaseModel

from monitor.dashboard.views.record_answers import Answer

AT_ns = 1_760_000_000_123_456_789  # beyond the whole numbers that a double can hold, 2**53


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry.

    The rest of the docstring is not for the description.
    """

    name: str
    secret: str
    at_utc_ns: int
    undone_utc_ns: int | None = None
    parts: tuple[str, ...] = ()

    @property
    def loud(self) -> str:
        return self.name.upper()


EntryAnswer = Annotated[Entry, Answer(without=("secret",), also=("loud",))]


class Page(BaseModel):
    newest: EntryAnswer
    rest: list[EntryAnswer]


def served() -> TestClient:
    app = FastAPI()
    entry = Entry("a", "hidden", AT_ns, parts=("x", "y"))

    @app.get("/one", response_model=EntryAnswer)
    def one() -> Entry:
        return entry

    @app.get("/page", response_model=Page)
    def page() -> Page:
        return Page(newest=entry, rest=[entry])

    return TestClient(app)


def test_instants_are_milliseconds_and_what_is_left_out_is_not_sent():
    client = served()
    shown = {"name": "a", "at_utc_ms": 1_760_000_000_123, "undone_utc_ms": None, "parts": ["x", "y"], "loud": "A"}
    assert client.get("/one").json() == shown
    assert client.get("/page").json() == {"newest": shown, "rest": [shown]}


def test_the_description_has_the_record():
    schema = served().get("/openapi.json").json()["components"]["schemas"]["Entry"]
    assert (schema["title"], schema["description"]) == ("Entry", "One entry.")
    assert set(schema["properties"]) == {"name", "at_utc_ms", "undone_utc_ms", "parts", "loud"}
