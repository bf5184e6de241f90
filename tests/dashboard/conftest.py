"""The dashboard's tests run over a made-up rig, never over a real one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fake_rig import RIG, FakeControl, FakeStore
from fastapi.testclient import TestClient

from monitor.dashboard import LiveHub, create_app


@pytest.fixture
def hub() -> LiveHub:
    return LiveHub()


@pytest.fixture
def client(hub: LiveHub) -> Iterator[TestClient]:
    app = create_app(hub=hub, store=FakeStore(), rig=RIG, control=FakeControl())
    with TestClient(app, base_url="http://127.0.0.1:8000", raise_server_exceptions=True) as client:
        yield client
